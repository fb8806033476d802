"""The window in which an adverse event is put down to a session."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class EventWindow:
    """Events from the session's day to `days` after it, both included."""

    name: str
    days: int

    def sentence(self) -> str:
        """The window in words, for a title or a methods paragraph."""
        return f"during a session or up to {self.days} days after it"


THIRTY_DAYS = EventWindow(name="30 days", days=30)
