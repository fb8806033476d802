"""One set of adverse events over each denominator."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from necrostats.errors import unknown_choice
from necrostats.measures.adverse_event_stents import StentTime
from necrostats.measures.watching import Watched
from necrostats.stats.intervals import Interval
from necrostats.stats.proportions import blaker, clopper_pearson, korn_graubard, mid_p, wilson
from necrostats.stats.rates import clustered_rate, dispersion, garwood, is_overdispersed

PATIENTS, SESSIONS, PATIENT_DAYS = "patients", "sessions", "100 patient-days"
STENT_DAYS, EVENTS_A_PATIENT = "100 stent-days", "events per patient"
DENOMINATORS = (PATIENTS, SESSIONS, PATIENT_DAYS)
UNITS = (*DENOMINATORS, STENT_DAYS, EVENTS_A_PATIENT)
INTERVALS: Mapping[str, Callable[..., Interval]] = {
    "Clopper–Pearson": clopper_pearson, "mid-P": mid_p, "Blaker": blaker, "Wilson": wilson,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Watchful:
    """One group's sessions that count: which they are (S,), whose (place among G patients), and the days of each."""

    here: np.ndarray
    patient: np.ndarray
    days: np.ndarray

    @classmethod
    def of(cls, seen: Watched, group: int | None) -> Watchful:
        """The sessions of one group, or of all."""
        here = np.ones(seen.sessions, dtype=bool) if group is None else seen.group == group
        labels, patient = np.unique(seen.patient[here], return_inverse=True)
        return cls(
            here=here, patient=patient, days=np.bincount(patient, weights=seen.days[here], minlength=labels.size)
        )

    def per_patient(self, per_session: np.ndarray) -> np.ndarray:
        """Counts by session (s,) summed by patient (G,)."""
        return np.bincount(self.patient, weights=per_session, minlength=self.days.size)


@dataclass(frozen=True, kw_only=True, eq=False)
class StentGroup:
    """The stent-days of one group's patients: all of them, and which patients (P,) are its own with a stent."""

    time: StentTime
    own: np.ndarray

    def counts(self, events: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Stent-related events among those marked True (E,), and stent-days, of each of these patients."""
        return self.time.per_patient(events)[self.own], self.time.days[self.own]


@dataclass(frozen=True, kw_only=True)
class Crowding:
    """How far the events of a rate with robust limits crowd: Pearson dispersion, and the most in one patient."""

    dispersion: float
    most: int


def rates_of(
    seen: Watched, group: Watchful, stents: StentGroup | None, events: np.ndarray, units: Sequence[str],
    interval: str, level: float,
) -> Iterator[dict]:  # fmt: skip
    """The rows of one variable in one group, one for each unit; `events` (E,) marks those that count.

    A row whose limits are robust ones has its `crowding` too.
    """
    per_session = seen.per_session(events)[group.here]
    per_patient = group.per_patient(per_session)
    estimators: dict[str, Callable[[], dict]] = {
        PATIENTS: lambda: _share(per_patient > 0, interval, level),
        SESSIONS: lambda: _clustered_share(per_session > 0, group.patient, level),
        PATIENT_DAYS: lambda: _rate(per_patient, group.days, 100, level),
        STENT_DAYS: lambda: _rate(*stents.counts(events), 100, level),
        EVENTS_A_PATIENT: lambda: _rate(per_patient, np.ones(per_patient.size), 1, level),
    }
    for unit in UNITS:
        if unit in units:
            yield {"unit": unit, **estimators[unit]()}


def known_units(units: str | Sequence[str]) -> tuple[str, ...]:
    """The units in their order; ChoiceError for one that is not on the list."""
    asked = (units,) if isinstance(units, str) else tuple(units)
    for unit in asked:
        if unit not in UNITS:
            raise unknown_choice("unit of an adverse event rate", unit, UNITS)
    return tuple(unit for unit in UNITS if unit in asked)


def known_interval(interval: str) -> str:
    """The interval by its name; ChoiceError for one that is not on the list."""
    name = interval.replace("-", "–") if interval.startswith("Clopper") else interval
    if name not in INTERVALS:
        raise unknown_choice("interval for a share of patients", interval, INTERVALS)
    return name


def _share(affected: np.ndarray, interval: str, level: float) -> dict:
    events, n = int(affected.sum()), affected.size
    return _numbers(events, n, 1, INTERVALS[interval](events, n, level=level))


def _clustered_share(affected: np.ndarray, patient: np.ndarray, level: float) -> dict:
    if affected.size == 0:
        return _numbers(0, 0, 1, clopper_pearson(0, 0, level=level))
    found = korn_graubard(affected.astype(np.int64), np.ones(affected.size, np.int64), patient, level=level)
    return _numbers(int(affected.sum()), affected.size, 1, found)


def _rate(events: np.ndarray, exposure: np.ndarray, per: int, level: float) -> dict:
    """Garwood's limits; where events crowd, robust ones, which are never taken inside Garwood's."""
    total, time = int(events.sum()), int(exposure.sum())
    exact = garwood(total, time, level=level, per=float(per))
    if not is_overdispersed(events, exposure):
        return _numbers(total, time, per, exact)
    crowded = Crowding(dispersion=dispersion(events, exposure).estimate, most=int(events.max()))
    robust = clustered_rate(events, exposure, level=level, per=per)
    low, high = min(robust.low, exact.low), max(robust.high, exact.high)
    return _numbers(total, time, per, replace(robust, low=low, high=high)) | {"crowding": crowded}


def _numbers(events: int, n: int, per: int, interval: Interval) -> dict:
    return {
        "events": events, "n": n, "per": per, "estimate": interval.estimate, "conf_low": interval.low,
        "conf_high": interval.high,
    }  # fmt: skip
