"""Sessions in which somebody looked for adverse events, how long each was watched, and the events that fell in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from necrostats.definitions.adverse_events import EventWindow
from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days
from necrostats.measures.adverse_event_placing import STENT_UNKNOWN, PlacedEvents, WindowEnds, placed_events
from necrostats.measures.grouping import Grouping
from necrostats.registry.tables import NO_DAY, Registry, next_session_days

NO_RECORD = "with no record that adverse events were looked for"


@dataclass(frozen=True, kw_only=True, eq=False)
class Watched:
    """S sessions that count, and for each of E events the one it falls to.

    `patient`, `group`, `days` (S,): the row number in patients, the place of the group, and the days of the window
    up to the patient's next session and to the last day the patient was seen. `event_session` (E,): a place among
    the S sessions, -1 where the event does not count. `looked_at` (P,): patients with a session in which somebody
    looked or an event was recorded; `unended` (P,): those whose windows have no known end.

    `unchecked`, `no_group` and `no_end` count sessions that do not count, `events_out` events, by reason. Of the S
    sessions, `by_event_only` count only because of an event, and `unfinished` have no event and a window that runs
    past the last day the patient was seen (death ends a window). `ranged_inside` and `ranged_after` count events
    dated only to a range.
    """

    patient: np.ndarray
    group: np.ndarray
    days: np.ndarray
    event_session: np.ndarray
    looked_at: np.ndarray
    unended: np.ndarray
    unchecked: int
    no_group: int
    no_end: int
    events_out: Mapping[str, int]
    by_event_only: int
    unfinished: int
    ranged_inside: int
    ranged_after: int

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
            f"sessions {NO_RECORD}": self.unchecked,
            "sessions without a recorded group": self.no_group,
            f"sessions in {STENT_UNKNOWN}": self.no_end,
            f"patients {NO_RECORD}": int(np.count_nonzero(~self.looked_at)),
            **self.events_out,
        }


def watched(registry: Registry, groups: Grouping, window: EventWindow) -> Watched:
    """The sessions that count under a window, with the events that fall in it.

    A session counts when somebody looked (`events_checked`) or an event in its window is recorded.
    """
    ends = _window_ends(registry, window)
    placed = placed_events(registry, window, ends)
    patient = registry.position("sessions").astype(np.int64)
    affected = placed.sessions_with_event(patient.size)
    looked = registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool)
    checked = looked | affected
    kept = checked & ends.known & (groups.codes >= 0)
    time = _time_watched(registry, ends, placed)
    renumbered = np.append(np.where(kept, np.cumsum(kept) - 1, -1), -1)
    event_session = np.where(placed.inside, renumbered[placed.session], -1)
    ungrouped = int(np.count_nonzero(placed.inside & (event_session < 0)))
    return Watched(
        patient=patient[kept],
        group=groups.codes[kept],
        days=np.where(_repeated(registry, kept, groups.codes), 0, time.days)[kept],
        event_session=event_session,
        looked_at=np.bincount(patient[checked], minlength=len(registry.patients)) > 0,
        unended=np.bincount(patient[~ends.known], minlength=len(registry.patients)) > 0,
        unchecked=int(np.count_nonzero(~checked)),
        no_group=int(np.count_nonzero(checked & ends.known & ~kept)),
        no_end=int(np.count_nonzero(checked & ~ends.known)),
        events_out={**placed.outside, "events in sessions without a recorded group": ungrouped},
        by_event_only=int(np.count_nonzero(kept & ~looked)),
        unfinished=int(np.count_nonzero(kept & ~affected & time.unfinished)),
        ranged_inside=placed.ranged_inside,
        ranged_after=placed.ranged_after,
    )


def last_contact(registry: Registry) -> np.ndarray:
    """The last day each patient was seen (P,)."""
    return last_seen_days(registry)


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


def _session_days(registry: Registry) -> np.ndarray:
    return registry.sessions["day"].to_numpy(dtype=np.int64)


def _window_ends(registry: Registry, window: EventWindow) -> WindowEnds:
    """The last day of each session's window; while a stent is in, there is none yet."""
    day = _session_days(registry)
    if not window.until_stent_out:
        return WindowEnds(last=day + window.days, known=np.ones(day.size, dtype=bool))
    out, known = stent_days(registry)
    stents, patients = registry.stents, registry.position("stents")
    still_in = (stents["removed_day"].isna() & (stents["end_reason"] == "in_place")).fillna(False).to_numpy(dtype=bool)
    last_out = np.full(len(registry.patients), -1, dtype=np.int64)
    np.maximum.at(last_out, patients[known], np.where(still_in, NEVER, out)[known])
    unknown = np.bincount(patients[~known], minlength=last_out.size) > 0
    whose = registry.position("sessions")
    return WindowEnds(last=np.maximum(day, last_out[whose]), known=~unknown[whose])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Time:
    """The days of each session's window (S,), and whether the patient was last seen before it ended."""

    days: np.ndarray
    unfinished: np.ndarray


def _time_watched(registry: Registry, ends: WindowEnds, placed: PlacedEvents) -> _Time:
    """Both ends of a window included, up to the patient's next session of any kind and to the last day seen.

    The session's own day always counts. Of sessions of one patient on one day the last has the days that follow, as
    it has the events that name no session.
    """
    day, following = _session_days(registry), next_session_days(registry)
    patient = registry.position("sessions").astype(np.int64)
    closes = np.where(_last_of_its_day(patient, day), np.minimum(ends.last, following - 1), day)
    seen = last_contact(registry)[patient]
    seen = np.where(following < NO_DAY, np.maximum(seen, following), seen)
    np.maximum.at(seen, placed.session[placed.inside], placed.day[placed.inside])
    dead = end_days(registry, "death")[patient] <= seen
    return _Time(days=np.maximum(np.minimum(closes, seen) - day, 0) + 1, unfinished=(closes > seen) & ~dead)


def _last_of_its_day(patient: np.ndarray, day: np.ndarray) -> np.ndarray:
    """Sessions (S,) after which no other of the patient's follows on the same day."""
    order = np.lexsort((day, patient))
    last = np.ones(order.size, dtype=bool)
    last[order[:-1]] = (np.diff(day[order]) != 0) | (np.diff(patient[order]) != 0)
    return last


def _repeated(registry: Registry, kept: np.ndarray, group: np.ndarray) -> np.ndarray:
    """Kept sessions (S,) whose day is counted with a later one of the same patient, group and day."""
    rows = np.flatnonzero(kept)
    patient, day, group = registry.position("sessions")[rows], _session_days(registry)[rows], group[rows]
    order = np.lexsort((day, group, patient))
    same = [np.diff(each[order]) == 0 for each in (patient, group, day)]
    repeated = np.zeros(kept.size, dtype=bool)
    repeated[rows[order[:-1]]] = np.logical_and.reduce(same)
    return repeated
