"""The windows in which an adverse event is put down to a session."""

from __future__ import annotations

from dataclasses import dataclass

from necrostats.errors import unknown_choice


@dataclass(frozen=True, kw_only=True)
class EventWindow:
    """Events from the session's day to `days` after it, both included.

    `during_only` keeps those that happened during the session; `until_stent_out` runs, instead of `days`, to the day
    the patient's last stent came out (or the last contact, while one is in).
    """

    name: str
    days: int = 0
    during_only: bool = False
    until_stent_out: bool = False

    def sentence(self) -> str:
        """The window in words, for a title or a methods paragraph."""
        if self.during_only:
            return "during a session"
        if self.until_stent_out:
            return "from a session until the last stent is out"
        return f"during a session or up to {self.days} day{'' if self.days == 1 else 's'} after it"


DURING = EventWindow(name="during", during_only=True)
ONE_DAY = EventWindow(name="24 hours", days=1)
FOURTEEN_DAYS = EventWindow(name="14 days", days=14)
THIRTY_DAYS = EventWindow(name="30 days", days=30)
UNTIL_STENT_OUT = EventWindow(name="until stent out", until_stent_out=True)

WINDOWS = {window.name: window for window in (DURING, ONE_DAY, FOURTEEN_DAYS, THIRTY_DAYS, UNTIL_STENT_OUT)}


def window_named(window: EventWindow | str) -> EventWindow:
    """A window, or the one of that name; ChoiceError for a name that is not on the list."""
    if isinstance(window, EventWindow):
        return window
    if window not in WINDOWS:
        raise unknown_choice("window", window, WINDOWS)
    return WINDOWS[window]
