"""Days with a stent in, and the stent-related events that fell on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.measures.watching import NO_RECORD, stent_days
from necrostats.registry.tables import Registry

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
    fell_in = related & _on_a_stent_day(registry, start, end, kept)
    whose = registry.position("adverse_events").astype(np.int64)
    elsewhere = related & watched_patients[whose] & ~fell_in
    return StentTime(
        days=days, events=fell_in, patient_of_event=whose, unknown=int(np.count_nonzero(~known)),
        unwatched=int(np.count_nonzero(known & ~watched)), elsewhere=int(np.count_nonzero(elsewhere)),
    )  # fmt: skip


def _related(registry: Registry) -> np.ndarray:
    """Events (E,) that name a stent, or are of a kind that only a stent has."""
    events = registry.adverse_events
    return (events["stent_id"].notna() | events["event_type"].isin(STENT_EVENTS)).to_numpy(dtype=bool)


def _on_a_stent_day(registry: Registry, start: np.ndarray, end: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """Whether the stent named, or else any stent of the patient, was in on the day of each event (E,)."""
    events = registry.adverse_events
    day = events["day"].to_numpy(dtype=np.int64)
    named, patient = registry.position("adverse_events", "stents"), registry.position("adverse_events")
    found = np.zeros(len(events), dtype=bool)
    by_patient = registry.position("stents")[kept]
    order = np.argsort(by_patient, kind="stable")
    owner, first, last = by_patient[order], start[kept][order], end[kept][order]
    opens, closes = (np.searchsorted(owner, patient, side) for side in ("left", "right"))
    for place in np.flatnonzero(_related(registry)):
        if named[place] >= 0:
            stent = named[place]
            found[place] = kept[stent] and start[stent] <= day[place] <= end[stent]
        else:
            own = slice(opens[place], closes[place])
            found[place] = bool(np.any((first[own] <= day[place]) & (day[place] <= last[own])))
    return found
