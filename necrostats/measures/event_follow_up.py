"""Sessions in which somebody looked for adverse events, how long each was watched, and the events that fell in.

Which session each adverse event falls to, and whether it lies in that session's window; days with a stent in, and the
stent-related events that fell on them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from necrostats.definitions.adverse_events import EventWindow
from necrostats.definitions.outcomes import NEVER, end_days, last_seen_days
from necrostats.errors import DesignError
from necrostats.measures.grouping import Grouping
from necrostats.registry.tables import (
    NO_DAY,
    Registry,
    next_session_days,
    session_of_events,
    sessions_before_events,
)

STENT_UNKNOWN = "patients with a stent of which the end is not known"


@dataclass(frozen=True, kw_only=True, eq=False)
class WindowEnds:
    """The last day of each session's window (S,), and whether it is known."""

    last: np.ndarray
    known: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class PlacedEvents:
    """For each of E events the row of its session (-1: none) and whether it lies `inside` its window.

    `host` (E,) is the row of another session of the patient in whose window an event lies that is outside its own: it
    counts for the patient and the days watched, for no session; -1 for every other. `early` (E,) are dated before the
    session they name. `outside` counts those that do not count, by reason, each event once. `ranged_inside` and
    `ranged_after` count events dated only to a range, which are placed by their earliest day.
    """

    session: np.ndarray
    inside: np.ndarray
    host: np.ndarray
    early: np.ndarray
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
        EARLY: latest < opened,
        f"events in {STENT_UNKNOWN}": ~np.append(ends.known, True)[session],
    }
    if window.during_only:
        reasons["events of which it is not recorded whether they happened during the session"] = (
            events["phase"].isna().to_numpy()
        )
        after = (events["phase"] != "during").fillna(True).to_numpy(dtype=bool)
    inside, first_lack = np.ones(day.size, dtype=bool), {}
    for reason, lacking in reasons.items():
        first_lack[reason] = inside & lacking
        inside &= ~lacking
    may_be_hosted = (first_lack[EARLY] | (inside & after)) & (not window.during_only)
    host = np.where(may_be_hosted, _hosts(registry, session, ends, day), -1)
    outside = {reason: int(np.count_nonzero(lacking & (host < 0))) for reason, lacking in first_lack.items()}
    outside[AFTER] = int(np.count_nonzero(inside & after & (host < 0)))
    ranged = inside & (latest > day) & (not window.during_only)
    return PlacedEvents(
        session=session,
        inside=inside & ~after,
        host=host,
        early=first_lack[EARLY],
        day=day,
        outside=outside,
        ranged_inside=int(np.count_nonzero(ranged & ~after)),
        ranged_after=int(np.count_nonzero(ranged & after)),
    )


def _hosts(registry: Registry, session: np.ndarray, ends: WindowEnds, day: np.ndarray) -> np.ndarray:
    """The last session before each event (E,), if it is another than its own and the event lies in its window."""
    before = sessions_before_events(registry)
    holds = (before >= 0) & (before != session) & np.append(ends.known, False)[before]
    return np.where(holds & (day <= np.append(ends.last, 0)[before]), before, -1)


AFTER = "events after the window"
EARLY = "events dated before the session they name"
NO_RECORD = "with no record that adverse events were looked for"


@dataclass(frozen=True, kw_only=True, eq=False)
class Watched:
    """S sessions that count, and for each of E events the one it falls to.

    `session`, `patient`, `group`, `days` (S,): the row numbers in sessions and patients, the place of the group, and
    the days of the window up to the patient's next session and to the last day the patient was seen. `event_session`
    (E,): a place among the S sessions, -1 where the event does not count; `watching` (E,) the one in whose days it
    fell, which is another for an event outside the window of the session it names. `looked_at` (P,): patients with a
    session in which somebody looked or an event was recorded; `unended` (P,): those whose windows have no known end.

    `unchecked`, `no_group` and `no_end` count sessions that do not count, `events_out` events, by reason. Of the S
    sessions, `by_event_only` count only because of an event, and `unfinished` have no event and a window that runs
    past the last day the patient was seen (death ends a window); `fully` (S,): the window has ended. `ranged_inside`
    and `ranged_after` count events dated only to a range.
    """

    session: np.ndarray
    patient: np.ndarray
    group: np.ndarray
    days: np.ndarray
    event_session: np.ndarray
    watching: np.ndarray
    fully: np.ndarray
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

    def per_watched(self, events: np.ndarray) -> np.ndarray:
        """How many of the events marked True (E,) fell in the days of each session (S,), whichever they name."""
        kept = self.watching[events & (self.watching >= 0)]
        return np.bincount(kept, minlength=self.sessions)

    @property
    def elsewhere(self) -> int:
        """How many events count for the patient and the days, and for no session."""
        return int(np.count_nonzero((self.watching >= 0) & (self.event_session < 0)))

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
    hosted = renumbered[placed.host]
    hosted = np.where((placed.host >= 0) & (hosted < 0), _watched_that_day(registry, kept), hosted)
    unhosted = (placed.host >= 0) & (hosted < 0)
    ungrouped = int(np.count_nonzero(placed.inside & (event_session < 0)))
    return Watched(
        session=np.flatnonzero(kept),
        patient=patient[kept],
        group=groups.codes[kept],
        days=np.where(_repeated(registry, kept, groups.codes), 0, time.days)[kept],
        event_session=event_session,
        watching=np.where(placed.inside, event_session, hosted),
        fully=~time.unfinished[kept],
        looked_at=np.bincount(patient[checked], minlength=len(registry.patients)) > 0,
        unended=np.bincount(patient[~ends.known], minlength=len(registry.patients)) > 0,
        unchecked=int(np.count_nonzero(~checked)),
        no_group=int(np.count_nonzero(checked & ends.known & ~kept)),
        no_end=int(np.count_nonzero(checked & ~ends.known)),
        events_out={
            **placed.outside,
            EARLY: placed.outside[EARLY] + int(np.count_nonzero(unhosted & placed.early)),
            AFTER: placed.outside[AFTER] + int(np.count_nonzero(unhosted & ~placed.early)),
            "events in sessions without a recorded group": ungrouped,
        },
        by_event_only=int(np.count_nonzero(kept & ~looked)),
        unfinished=int(np.count_nonzero(kept & ~affected & time.unfinished)),
        ranged_inside=placed.ranged_inside,
        ranged_after=placed.ranged_after,
    )


def _watched_that_day(registry: Registry, kept: np.ndarray) -> np.ndarray:
    """For each event (E,) the place, among the kept sessions, of one of its patient held on its day; -1 if none."""
    span = np.int64(1 << 20)
    held = registry.position("sessions").astype(np.int64)[kept] * span + _session_days(registry)[kept]
    happened = registry.position("adverse_events").astype(np.int64) * span + registry.adverse_events["day"].to_numpy(
        dtype=np.int64
    )
    order = np.argsort(held, kind="stable")
    place = np.searchsorted(held[order], happened, side="right") - 1
    found = np.append(order, -1)[place]
    return np.where((place >= 0) & (np.append(held, -1)[found] == happened), found, -1)


def stent_days(registry: Registry) -> tuple[np.ndarray, np.ndarray]:
    """For each stent the day it came out, or last contact while it is in, and whether that is known.

    A blank day with a blank reason is not known: nothing is counted for it.
    """
    stents = registry.stents
    seen = last_seen_days(registry)[registry.position("stents")]
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
    seen = last_seen_days(registry)[patient]
    seen = np.where(following < NO_DAY, np.maximum(seen, following), seen)
    for session in (np.where(placed.inside, placed.session, -1), placed.host):
        np.maximum.at(seen, session[session >= 0], placed.day[session >= 0])
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


def whole_histories(registry: Registry, what: str) -> None:
    """DesignError for a registry narrowed by `during`: it holds one period's events and everything else."""
    if registry.narrowed_to:
        period = registry.narrowed_to
        raise DesignError(
            f"{what} cannot be taken from a registry narrowed to {period}: it holds the events of that period only, "
            "beside stents and follow-up of all periods. Use the whole registry, or the patients first drained then: "
            f'registry.indexed_in("{period}").'
        )


STENT_EVENTS = ("stent_migration", "stent_occlusion", "stent_buried")


@dataclass(frozen=True, kw_only=True, eq=False)
class StentTime:
    """`days` (P,) with a stent in, for each patient, and which `events` (E,) are stent-related and fell on them.

    A stent's days run from the day it went in to the day it came out, or to last contact while it is in; one taken
    out on its own day counts 1. `unknown` stents have no known end, `unwatched` ones belong to patients in whom
    nobody looked; `elsewhere` are stent-related events on a day on which no stent was known to be in.
    """

    days: np.ndarray
    events: np.ndarray
    patient_of_event: np.ndarray
    unknown: int
    unwatched: int
    elsewhere: int

    def per_patient(self, events: np.ndarray) -> np.ndarray:
        """How many of the events marked True (E,) fell on a stent-day of each patient (P,)."""
        return np.bincount(self.patient_of_event[events & self.events], minlength=self.days.size)

    def left_out(self) -> dict[str, int]:
        """What does not count, by reason."""
        return {
            "stents of which the end is not known": self.unknown,
            f"stents in patients {NO_RECORD}": self.unwatched,
            "stent-related events on days on which no stent was known to be in": self.elsewhere,
        }


def stent_time(registry: Registry, watched_patients: np.ndarray) -> StentTime:
    """The stent-days of the patients marked True (P,), and the stent-related events that fell on them."""
    end, known = stent_days(registry)
    start = registry.stents["placed_day"].to_numpy(dtype=np.int64)
    patient = registry.position("stents")
    watched = watched_patients[patient]
    kept = known & watched
    days = np.bincount(
        patient[kept], weights=np.maximum(end - start, 1)[kept], minlength=len(registry.patients)
    ).astype(np.int64)
    related = _related(registry)
    fell_in = on_a_stent_day(registry, related, kept)
    whose = registry.position("adverse_events").astype(np.int64)
    elsewhere = related & watched_patients[whose] & ~fell_in
    return StentTime(
        days=days,
        events=fell_in,
        patient_of_event=whose,
        unknown=int(np.count_nonzero(~known)),
        unwatched=int(np.count_nonzero(known & ~watched)),
        elsewhere=int(np.count_nonzero(elsewhere)),
    )


def _related(registry: Registry) -> np.ndarray:
    """Events (E,) that name a stent, or are of a kind that only a stent has."""
    events = registry.adverse_events
    return (events["stent_id"].notna() | events["event_type"].isin(STENT_EVENTS)).to_numpy(dtype=bool)


def on_a_stent_day(registry: Registry, wanted: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """Which of the events `wanted` (E,) fell on a day on which the stent named, or else any of the patient's, was in.

    `kept` (T,) are the stents to look at.
    """
    events, (end, _) = registry.adverse_events, stent_days(registry)
    start = registry.stents["placed_day"].to_numpy(dtype=np.int64)
    day = events["day"].to_numpy(dtype=np.int64)
    named, patient = registry.position("adverse_events", "stents"), registry.position("adverse_events")
    found = np.zeros(len(events), dtype=bool)
    by_patient = registry.position("stents")[kept]
    order = np.argsort(by_patient, kind="stable")
    owner, first, last = by_patient[order], start[kept][order], end[kept][order]
    opens, closes = (np.searchsorted(owner, patient, side) for side in ("left", "right"))
    for place in np.flatnonzero(wanted):
        if named[place] >= 0:
            stent = named[place]
            found[place] = kept[stent] and start[stent] <= day[place] <= end[stent]
        else:
            own = slice(opens[place], closes[place])
            found[place] = bool(np.any((first[own] <= day[place]) & (day[place] <= last[own])))
    return found
