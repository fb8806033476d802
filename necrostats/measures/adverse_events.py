"""How often sessions are followed by adverse events, over every denominator."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.grades import AGREE, GradingScale, scale_named
from necrostats.errors import unknown_choice
from necrostats.measures.grouping import session_groups
from necrostats.measures.phrases import counted
from necrostats.measures.watching import Watched, watched
from necrostats.registry.codebook import ADVERSE_EVENTS
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Rates
from necrostats.stats.intervals import Interval
from necrostats.stats.proportions import clopper_pearson, korn_graubard
from necrostats.stats.rates import clustered_rate, dispersion, garwood, is_overdispersed

ANY = "any adverse event"
EVENT_TYPES = ADVERSE_EVENTS.column("event_type").codes
PATIENTS, SESSIONS, PATIENT_DAYS, EVENTS_A_PATIENT = "patients", "sessions", "100 patient-days", "events per patient"
DENOMINATORS = (PATIENTS, SESSIONS, PATIENT_DAYS)
UNITS = (*DENOMINATORS, EVENTS_A_PATIENT)
FEW_PATIENTS = 20


def adverse_event_rates(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    event_type: str | None = None,
    window: EventWindow | str = THIRTY_DAYS,
    grade_from: str | None = None,
    grading: GradingScale | str = AGREE,
    units: Sequence[str] = DENOMINATORS,
) -> Rates:
    """The denominator table: patients, sessions and patient-days, for any event and for each type.

    A session counts when somebody looked for events (`events_checked`) or an event is recorded for it; the others
    leave every denominator and are counted. Patient-days run from each such session to the end of its window,
    overlaps once, to last contact. `event_type` keeps one type, or "any adverse event"; `grade_from` keeps that grade
    of `grading` and the graver ones (ungraded events are counted as left out); `window` is a window or its name;
    `units` may add "events per patient"; `by` is a column of the patient at the start or of the session.
    """
    window, scale = window_named(window), scale_named(grading)
    variables = _variables(event_type)
    _known_units(units)
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    graded, ungraded = _graded(registry, seen, scale, grade_from)
    rows = [
        {"variable": variable, "group": place, **row}
        for variable in variables
        for place, _ in enumerate(groups.labels)
        for row in _rates(seen, graded & _of_type(registry, variable), seen.group == place, units, level)
    ]
    table = pd.DataFrame(rows, columns=list(Rates.columns))
    table["variable"] = pd.Categorical(table["variable"], categories=list(variables), ordered=True)
    table["group"] = groups.column(table["group"].to_numpy(dtype=np.int64))
    table["unit"] = pd.Categorical(table["unit"], categories=[unit for unit in UNITS if unit in units], ordered=True)
    return Rates(
        title=f"Adverse events {window.sentence()}{_from_grade(scale, grade_from)}",
        table=table,
        population=Population(
            patients=seen.patients,
            sessions=seen.sessions,
            left_out={**seen.left_out(), "events without a grade on that scale": ungraded},
        ),
        method=_method(window, scale, grade_from, level),
        notes=_notes(seen, table, graded),
    )


def _variables(event_type: str | None) -> tuple[str, ...]:
    if event_type is None:
        return (ANY, *EVENT_TYPES)
    if event_type not in (ANY, *EVENT_TYPES):
        raise unknown_choice("event type", event_type, (ANY, *EVENT_TYPES))
    return (event_type,)


def _known_units(units: Sequence[str]) -> None:
    for unit in units:
        if unit not in UNITS:
            raise unknown_choice("unit of an adverse event rate", unit, UNITS)


def _graded(registry: Registry, seen: Watched, scale: GradingScale, grade_from: str | None) -> tuple[np.ndarray, int]:
    """Which events (E,) are grave enough, and how many that would count carry no grade."""
    if grade_from is None:
        return np.ones(len(registry.adverse_events), dtype=bool), 0
    grades = registry.adverse_events[scale.column]
    ungraded = grades.isna().to_numpy() & (seen.event_session >= 0)
    return grades.isin(scale.at_least(grade_from)).to_numpy(), int(np.count_nonzero(ungraded))


def _of_type(registry: Registry, variable: str) -> np.ndarray:
    types = registry.adverse_events["event_type"]
    return np.ones(len(types), dtype=bool) if variable == ANY else (types == variable).to_numpy()


def _rates(seen: Watched, events: np.ndarray, here: np.ndarray, units: Sequence[str], level: float):
    """The rows of one variable in one group, one for each unit."""
    per_session = seen.per_session(events)[here]
    labels, patient = np.unique(seen.patient[here], return_inverse=True)
    per_patient = np.bincount(patient, weights=per_session, minlength=labels.size)
    days = np.bincount(patient, weights=seen.days[here], minlength=labels.size)
    estimators: dict[str, Callable[[], dict]] = {
        PATIENTS: lambda: _share(per_patient > 0, level),
        SESSIONS: lambda: _clustered_share(per_session > 0, patient, level),
        PATIENT_DAYS: lambda: _rate(per_patient, days, 100, level),
        EVENTS_A_PATIENT: lambda: _rate(per_patient, np.ones(labels.size), 1, level),
    }
    for unit in UNITS:
        if unit in units:
            yield {"unit": unit, **estimators[unit]()}


def _share(affected: np.ndarray, level: float) -> dict:
    events, n = int(affected.sum()), affected.size
    return _numbers(events, n, 1, clopper_pearson(events, n, level=level))


def _clustered_share(affected: np.ndarray, patient: np.ndarray, level: float) -> dict:
    if affected.size == 0:
        return _share(affected, level)
    interval = korn_graubard(affected.astype(np.int64), np.ones(affected.size, np.int64), patient, level=level)
    return _numbers(int(affected.sum()), affected.size, 1, interval)


def _rate(events: np.ndarray, exposure: np.ndarray, per: int, level: float) -> dict:
    total, time = int(events.sum()), int(exposure.sum())
    crowded = is_overdispersed(events, exposure)
    interval = clustered_rate(events, exposure, level=level, per=per) if crowded else garwood(
        total, time, level=level, per=float(per)
    )  # fmt: skip
    return _numbers(total, time, per, interval)


def _numbers(events: int, n: int, per: int, interval: Interval) -> dict:
    return {
        "events": events, "n": n, "per": per, "estimate": interval.estimate, "conf_low": interval.low,
        "conf_high": interval.high,
    }  # fmt: skip


def _from_grade(scale: GradingScale, grade_from: str | None) -> str:
    return f", {scale.name} grade {grade_from} or graver" if grade_from else ""


def _method(window: EventWindow, scale: GradingScale, grade_from: str | None, level: float) -> Method:
    graded = (f"; {scale.name} grade {grade_from} or graver",) if grade_from else ()
    return Method(
        estimand=f"adverse events {window.sentence()}{_from_grade(scale, grade_from)}: share of patients, share of "
        "sessions, rate per 100 patient-days",
        estimator="events over patients, over sessions, and over patient-days in the windows",
        interval=(
            "patients: Clopper–Pearson; sessions: Korn–Graubard, clustered by patient; patient-days: Garwood, or "
            "robust by patient where events crowd in few patients"
        ),
        level=level,
        definition=(
            f"window: {window.sentence()}; sessions of any type in which somebody looked for events or recorded one; "
            f"patient-days counted from the session to the end of its window, overlaps once{''.join(graded)}"
        ),
        references=(
            "Clopper and Pearson, Biometrika 1934;26:404",
            "Korn and Graubard, Survey Methodology 1998;24:193",
            "Garwood, Biometrika 1936;28:437",
            *((scale.reference,) if grade_from else ()),
        ),
    )


def _notes(seen: Watched, table: pd.DataFrame, graded: np.ndarray) -> tuple[Note, ...]:
    total = seen.unchecked + seen.sessions + seen.no_group
    none_seen = table[(table["unit"] == SESSIONS) & (table["events"] == 0) & (table["n"] > 0)]
    said = {
        "MISSING": seen.unchecked
        and f"{counted(seen.unchecked, 'session', 'sessions')} of {total:,} left out of every denominator: nobody "
        "recorded whether adverse events were looked for.",
        "ZERO_EVENTS": len(none_seen)
        and "Where no event was recorded the upper limit is the exact one, and clustering within patients cannot be "
        "estimated.",
        "FEW_CLUSTERS": 0 < seen.patients < FEW_PATIENTS
        and f"Only {counted(seen.patients, 'patient', 'patients')}: intervals for sessions are approximate.",
    }
    return (*(Note(code=code, text=text) for code, text in said.items() if text), *_overdispersion(seen, graded))


def _overdispersion(seen: Watched, events: np.ndarray) -> tuple[Note, ...]:
    """The note that events crowd in few patients, so that the limits of their rate are robust ones."""
    labels, patient = np.unique(seen.patient, return_inverse=True)
    per_patient = np.bincount(patient, weights=seen.per_session(events), minlength=labels.size)
    days = np.bincount(patient, weights=seen.days, minlength=labels.size)
    if not is_overdispersed(per_patient, days):
        return ()
    text = (
        f"Events crowd in few patients (dispersion {dispersion(per_patient, days).estimate:.1f}, at most "
        f"{per_patient.max():.0f} in one): limits per 100 patient-days are robust by patient."
    )
    return (Note(code="OVERDISPERSED", text=text),)
