"""One set of adverse events over each denominator."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from necrostats.errors import unknown_choice
from necrostats.measures.adverse_event_stents import StentTime
from necrostats.measures.grouping import Grouping
from necrostats.measures.watching import Watched
from necrostats.stats.intervals import Interval
from necrostats.stats.proportions import blaker, clopper_pearson, korn_graubard, mid_p, wilson
from necrostats.stats.rates import clustered_rate, garwood, is_overdispersed

PATIENTS, SESSIONS, PATIENT_DAYS = "patients", "sessions", "100 patient-days"
STENT_DAYS, EVENTS_A_PATIENT = "100 stent-days", "events per patient"
DENOMINATORS = (PATIENTS, SESSIONS, PATIENT_DAYS)
UNITS = (*DENOMINATORS, STENT_DAYS, EVENTS_A_PATIENT)
INTERVALS: Mapping[str, Callable[..., Interval]] = {
    "Clopper–Pearson": clopper_pearson, "mid-P": mid_p, "Blaker": blaker, "Wilson": wilson,
}  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Denominators:
    """What events are counted over: S watched sessions, and stent-days where they were asked for."""

    seen: Watched
    patient_groups: Grouping | None
    stents: StentTime | None


@dataclass(frozen=True, kw_only=True, eq=False)
class PerPatient:
    """Events and days of each patient of one group (G,), for sessions that count."""

    events: np.ndarray
    days: np.ndarray
    patient: np.ndarray
    per_session: np.ndarray


def per_patient(seen: Watched, events: np.ndarray, group: int) -> PerPatient:
    """The events marked True (E,), by patient of a group; `patient` is the place of each session's patient."""
    here = seen.group == group
    per_session = seen.per_session(events)[here]
    labels, patient = np.unique(seen.patient[here], return_inverse=True)
    return PerPatient(
        events=np.bincount(patient, weights=per_session, minlength=labels.size),
        days=np.bincount(patient, weights=seen.days[here], minlength=labels.size),
        patient=patient,
        per_session=per_session,
    )


def stent_exposure(over: Denominators, events: np.ndarray, group: int) -> tuple[np.ndarray, np.ndarray]:
    """Stent-related events, and stent-days, of each patient of a group that had any."""
    own = (over.patient_groups.codes == group) & (over.stents.days > 0)
    patient = over.event_patient[events & over.stents.events]
    return np.bincount(patient, minlength=own.size)[own], over.stents.days[own]


def known_units(units: Sequence[str]) -> None:
    """ChoiceError for a unit that is not on the list."""
    for unit in units:
        if unit not in UNITS:
            raise unknown_choice("unit of an adverse event rate", unit, UNITS)


def known_interval(interval: str) -> None:
    """ChoiceError for an interval that is not on the list."""
    if interval not in INTERVALS:
        raise unknown_choice("interval for a share of patients", interval, INTERVALS)
