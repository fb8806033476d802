"""Which session each adverse event falls to, and whether it lies in that session's window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from necrostats.definitions.adverse_events import EventWindow
from necrostats.registry.tables import Registry, session_of_events

STENT_UNKNOWN = "patients with a stent of which the end is not known"


@dataclass(frozen=True, kw_only=True, eq=False)
class WindowEnds:
    """The last day of each session's window (S,), and whether it is known."""

    last: np.ndarray
    known: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class PlacedEvents:
    """For each of E events the row of its session (-1: none) and whether it lies `inside` its window.

    `outside` counts those that do not, by reason, each event once. `ranged_inside` and `ranged_after` count events
    dated only to a range, which are placed by their earliest day.
    """

    session: np.ndarray
    inside: np.ndarray
    day: np.ndarray
    outside: Mapping[str, int]
    ranged_inside: int
    ranged_after: int

    def sessions_with_event(self, sessions: int) -> np.ndarray:
        """Sessions (S,) with an event inside the window."""
        return np.bincount(self.session[self.inside], minlength=sessions) > 0


def placed_events(registry: Registry, window: EventWindow, ends: WindowEnds) -> PlacedEvents:
    """Place every event: one that names a session belongs to it, any other to the last on or before its day.

    An event that names a session counts only from that session's day on (one dated to a range: if it may have been).
    """
    events, session = registry.adverse_events, session_of_events(registry)
    day = events["day"].to_numpy(dtype=np.int64)
    latest = events["day_latest"].fillna(events["day"]).to_numpy(dtype=np.int64)
    opened = np.append(registry.sessions["day"].to_numpy(dtype=np.int64), 0)[session]
    after = day > np.append(ends.last, 0)[session]
    reasons = {
        "events before any session": session < 0,
        "events dated before the session they name": latest < opened,
        f"events in {STENT_UNKNOWN}": ~np.append(ends.known, True)[session],
    }
    if window.during_only:
        reasons["events of which it is not recorded whether they happened during the session"] = (
            events["phase"].isna().to_numpy()
        )
        after = (events["phase"] != "during").fillna(True).to_numpy(dtype=bool)
    inside, outside = np.ones(day.size, dtype=bool), {}
    for reason, lacking in reasons.items():
        outside[reason] = int(np.count_nonzero(inside & lacking))
        inside &= ~lacking
    outside["events after the window"] = int(np.count_nonzero(inside & after))
    ranged = inside & (latest > day) & (not window.during_only)
    return PlacedEvents(
        session=session, inside=inside & ~after, day=day, outside=outside,
        ranged_inside=int(np.count_nonzero(ranged & ~after)), ranged_after=int(np.count_nonzero(ranged & after)),
    )  # fmt: skip
