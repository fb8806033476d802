"""Sessions in which somebody looked for adverse events, how long each was watched, and the events that fell in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.definitions.adverse_events import EventWindow
from necrostats.measures.grouping import Grouping
from necrostats.registry.tables import Registry, session_of_events


@dataclass(frozen=True, kw_only=True, eq=False)
class Watched:
    """S sessions that count, and for each of E events the one it falls to.

    `patient`, `group`, `days` (S,): the row number in patients, the place of the group, and the days of the window,
    overlaps once, to last contact. `event_session` (E,): a place among the S sessions, -1 where the event does not
    count. The rest are counts of what does not: sessions unchecked or without a group, events outside the window,
    before any session, or (for windows that end with the session) of an unrecorded phase, and `unwatched` patients
    without any checked session.
    """

    patient: np.ndarray
    group: np.ndarray
    days: np.ndarray
    event_session: np.ndarray
    unchecked: int
    no_group: int
    outside: int
    unattached: int
    no_phase: int
    unwatched: int

    @property
    def sessions(self) -> int:
        """How many sessions count."""
        return self.patient.size

    @property
    def patients(self) -> int:
        """How many patients they belong to."""
        return np.unique(self.patient).size

    def per_session(self, events: np.ndarray) -> np.ndarray:
        """How many of the events marked True (E,) fall to each session (S,)."""
        kept = self.event_session[events & (self.event_session >= 0)]
        return np.bincount(kept, minlength=self.sessions)

    def left_out(self) -> dict[str, int]:
        """What does not count, by reason."""
        return {
            "sessions in which nobody recorded whether events were looked for": self.unchecked,
            "sessions without a recorded group": self.no_group,
            "patients without a session in which anybody looked": self.unwatched,
            "events after the window": self.outside,
            "events before any session": self.unattached,
            "events of which it is not recorded whether they happened during the session": self.no_phase,
        }


def watched(registry: Registry, groups: Grouping, window: EventWindow) -> Watched:
    """The sessions that count under a window, with the events that fall in it.

    A session counts when somebody looked (`events_checked`) or an event is recorded for it.
    """
    session = session_of_events(registry)
    checked = _checked(registry, session)
    kept = checked & (groups.codes >= 0)
    attached = session >= 0
    inside = attached & _falls_in(registry, session, window)
    no_phase = attached & window.during_only & registry.adverse_events["phase"].isna().to_numpy()
    renumbered = np.append(np.where(kept, np.cumsum(kept) - 1, -1), -1)
    return Watched(
        patient=registry.position("sessions")[kept].astype(np.int64),
        group=groups.codes[kept],
        days=_days_watched(registry, kept, window),
        event_session=np.where(inside, renumbered[session], -1),
        unchecked=int(np.count_nonzero(~checked)),
        no_group=int(np.count_nonzero(checked & ~kept)),
        outside=int(np.count_nonzero(attached & ~inside & ~no_phase)),
        unattached=int(np.count_nonzero(~attached)),
        no_phase=int(np.count_nonzero(no_phase)),
        unwatched=len(registry.patients) - np.unique(registry.position("sessions")[checked]).size,
    )


def last_contact(registry: Registry) -> np.ndarray:
    """The last day each patient was seen (P,)."""
    return registry.patients["last_contact_day"].to_numpy(dtype=np.int64)


def stent_days(registry: Registry) -> tuple[np.ndarray, np.ndarray]:
    """For each stent the day it came out, or last contact while it is in, and whether that is known.

    A blank day with a blank reason is not known: nothing is counted for it.
    """
    stents = registry.stents
    seen = last_contact(registry)[registry.position("stents")]
    removed = stents["removed_day"].fillna(-1).to_numpy(dtype=np.int64)
    still_in = stents["removed_day"].isna().to_numpy() & stents["end_reason"].isin(["in_place", "death"]).to_numpy()
    known = (removed >= 0) | still_in
    return np.where(removed >= 0, removed, seen), known


def _checked(registry: Registry, session: np.ndarray) -> np.ndarray:
    has_event = np.zeros(len(registry.sessions), dtype=bool)
    has_event[session[session >= 0]] = True
    return registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool) | has_event


def _session_days(registry: Registry) -> np.ndarray:
    return registry.sessions["day"].to_numpy(dtype=np.int64)


def _falls_in(registry: Registry, session: np.ndarray, window: EventWindow) -> np.ndarray:
    if window.during_only:
        return (registry.adverse_events["phase"] == "during").to_numpy()
    last = np.append(_window_ends(registry, window), -1)[session]
    return registry.adverse_events["day"].to_numpy(dtype=np.int64) <= last


def _window_ends(registry: Registry, window: EventWindow) -> np.ndarray:
    """The last day of each session's window."""
    day = _session_days(registry)
    if not window.until_stent_out:
        return day + window.days
    out, known = stent_days(registry)
    last_out = np.full(len(registry.patients), -1, dtype=np.int64)
    np.maximum.at(last_out, registry.position("stents")[known], out[known])
    return np.maximum(day, last_out[registry.position("sessions")])


def _days_watched(registry: Registry, kept: np.ndarray, window: EventWindow) -> np.ndarray:
    """Days of each kept session's window, both ends included, up to the next kept session and to last contact."""
    patient = registry.position("sessions")[kept].astype(np.int64)
    day = _session_days(registry)[kept]
    order = np.lexsort((day, patient))
    end = np.minimum(_window_ends(registry, window)[kept], last_contact(registry)[patient])[order] + 1
    following = np.append(day[order][1:], 0)[: order.size]
    same = np.append(np.diff(patient[order]) == 0, False)[: order.size]
    end = np.where(same, np.minimum(end, following), end)
    days = np.empty(order.size, dtype=np.int64)
    days[order] = np.maximum(end - day[order], 0)
    return days
