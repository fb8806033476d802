"""How often sessions are followed by adverse events, over every denominator."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow
from necrostats.definitions.age import age_band
from necrostats.definitions.extent import extent_of_patients
from necrostats.errors import unknown_choice
from necrostats.measures.grouping import Grouping, session_groups
from necrostats.registry.codebook import ADVERSE_EVENTS
from necrostats.registry.tables import Registry, session_of_events
from necrostats.results import Listing, Method, Note, Population, Rates
from necrostats.stats.proportions import clopper_pearson, korn_graubard
from necrostats.stats.rates import dispersion, garwood

ANY = "any adverse event"
EVENT_TYPES = ADVERSE_EVENTS.column("event_type").codes
UNITS = ("patients", "sessions", "100 patient-days")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Watched:
    """Sessions somebody looked at: their patient, group and days of exposure; and the events that followed them."""

    patient: np.ndarray
    group: np.ndarray
    days: np.ndarray
    event_session: np.ndarray
    event_type: np.ndarray
    unchecked: int
    outside: int
    unattached: int
    no_group: int


def adverse_event_rates(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    event_type: str | None = None,
    window: EventWindow = THIRTY_DAYS,
) -> Rates:
    """The denominator table: patients, sessions and patient-days, for any event and for each type.

    A session counts when somebody looked for events (`events_checked`) or an event is recorded for it; the others
    leave every denominator and are counted. Patient-days run from each such session to the end of its window,
    overlaps once, to last contact. `event_type` keeps one type, or "any adverse event"; `by` is a column of the patient at the start or
    of the session.
    """
    if event_type is not None and event_type not in (ANY, *EVENT_TYPES):
        raise unknown_choice("event type", event_type, (ANY, *EVENT_TYPES))
    groups = session_groups(registry, by)
    watched = _watched(registry, groups, window)
    variables = (event_type,) if event_type else (ANY, *EVENT_TYPES)
    rows = [
        row
        for variable in variables
        for place, _ in enumerate(groups.labels)
        for row in _rates(watched, variable, place, level)
    ]
    table = pd.DataFrame(rows)
    table["variable"] = pd.Categorical(table["variable"], categories=list(variables), ordered=True)
    table["group"] = groups.column(table["group"])
    table["unit"] = pd.Categorical(table["unit"], categories=list(UNITS), ordered=True)
    return Rates(
        title=f"Adverse events {window.sentence()}",
        table=table[list(Rates.columns)],
        population=_population(watched),
        method=_method(window, level),
        notes=_notes(watched, table),
    )


def adverse_event_cases(registry: Registry, *, by: None = None, level: float = 0.95) -> Listing:
    """The adverse events one by one, without a date, an id or an exact age: day offsets, grade and treatment."""
    events = registry.adverse_events
    position = registry.position("adverse_events")
    bands = age_band(registry.patients["age_years"])
    table = pd.DataFrame(
        {
            "case": np.arange(1, len(events) + 1),
            "age_band": bands.iloc[position].to_numpy(),
            "extent_class": extent_of_patients(registry).iloc[position].to_numpy(),
            **{
                name: events[name].to_numpy()
                for name in ("event_type", "day", "agree_grade", "attribution", "treatment")
            },
        }
    )
    return Listing(
        title="Adverse events, one by one",
        table=table,
        population=Population(patients=len(np.unique(position))),
        method=Method(
            estimand="a listing, not an estimate",
            estimator="every adverse event recorded for these sessions",
            interval="none",
            level=level,
            definition="day counted from the index drainage; age in bands; no identifier and no date",
        ),
    )


def _watched(registry: Registry, groups: Grouping, window: EventWindow) -> _Watched:
    session_day = registry.sessions["day"].to_numpy(dtype=np.int64)
    session = session_of_events(registry)
    has_event = np.zeros(len(registry.sessions), dtype=bool)
    has_event[session[session >= 0]] = True
    checked = registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool) | has_event
    kept = checked & (groups.codes >= 0)
    renumbered = np.append(np.where(kept, np.cumsum(kept) - 1, -1), -1)
    event_day = registry.adverse_events["day"].to_numpy(dtype=np.int64)
    delay = event_day - np.append(session_day, 0)[session]
    inside = (session >= 0) & (delay <= window.days)
    return _Watched(
        patient=registry.position("sessions")[kept].astype(np.int64),
        group=groups.codes[kept],
        days=_days_watched(registry, kept, window),
        event_session=np.where(inside, renumbered[session], -1),
        event_type=registry.adverse_events["event_type"].cat.codes.to_numpy(),
        unchecked=int(np.count_nonzero(~checked)),
        outside=int(np.count_nonzero((session >= 0) & ~inside)),
        unattached=int(np.count_nonzero(session < 0)),
        no_group=int(np.count_nonzero(checked & ~kept)),
    )


def _days_watched(registry: Registry, kept: np.ndarray, window: EventWindow) -> np.ndarray:
    """Days of each kept session's window, both ends included, up to the next kept session and to last contact."""
    patient = registry.position("sessions")[kept].astype(np.int64)
    day = registry.sessions["day"].to_numpy(dtype=np.int64)[kept]
    last = registry.patients["last_contact_day"].to_numpy(dtype=np.int64)[patient]
    order = np.lexsort((day, patient))
    following = np.append(day[order][1:], 0)
    same = np.append(patient[order][1:] == patient[order][:-1], False) if order.size else np.zeros(0, bool)
    end = np.minimum(day + window.days, last)[order] + 1
    end = np.where(same, np.minimum(end, following[: order.size]), end)
    days = np.empty(order.size, dtype=np.int64)
    days[order] = np.maximum(end - day[order], 0)
    return days


def _rates(watched: _Watched, variable: str, group: int, level: float):
    """The rows of one variable in one group, one for each unit."""
    here = watched.group == group
    per_session = np.bincount(watched.event_session[_of_type(watched, variable)], minlength=watched.patient.size)[here]
    patient, count = np.unique(watched.patient[here], return_inverse=True)
    per_patient = np.bincount(count, weights=per_session, minlength=patient.size)
    with_event = (per_session > 0).astype(np.int64)
    days = int(watched.days[here].sum())
    affected = int((per_patient > 0).sum())
    estimates = (
        (affected, patient.size, 1, clopper_pearson(affected, patient.size, level=level)),
        (int(with_event.sum()), with_event.size, 1, _by_session(with_event, count, level)),
        (int(per_session.sum()), days, 100, garwood(per_session.sum(), days, per=100.0, level=level)),
    )
    for unit, (events, n, per, interval) in zip(UNITS, estimates, strict=True):
        yield {
            "variable": variable, "group": group, "unit": unit, "events": events, "n": n, "per": per,
            "estimate": interval.estimate, "conf_low": interval.low, "conf_high": interval.high,
        }  # fmt: skip


def _by_session(with_event: np.ndarray, patient: np.ndarray, level: float):
    if with_event.size == 0:
        return clopper_pearson(0, 0, level=level)
    return korn_graubard(with_event, np.ones_like(with_event), patient, level=level)


def _of_type(watched: _Watched, variable: str) -> np.ndarray:
    attached = watched.event_session >= 0
    return attached if variable == ANY else attached & (watched.event_type == EVENT_TYPES.index(variable))


def _population(watched: _Watched) -> Population:
    return Population(
        patients=np.unique(watched.patient).size,
        sessions=watched.patient.size,
        left_out={
            "sessions in which nobody recorded whether events were looked for": watched.unchecked,
            "sessions without a recorded group": watched.no_group,
            "events after the window": watched.outside,
            "events before any session": watched.unattached,
        },
    )


def _method(window: EventWindow, level: float) -> Method:
    return Method(
        estimand=f"adverse events {window.sentence()}: share of patients, share of sessions, rate per 100 patient-days",
        estimator="events over patients, over sessions, and over patient-days in the windows",
        interval=("patients: Clopper–Pearson; sessions: Korn–Graubard, clustered by patient; patient-days: Garwood"),
        level=level,
        definition=(
            f"window: {window.sentence()}; sessions of any type in which somebody looked for events or recorded one; "
            "patient-days counted from the session to the end of its window, overlaps once"
        ),
        references=(
            "Clopper and Pearson, Biometrika 1934;26:404",
            "Korn and Graubard, Survey Methodology 1998;24:193",
            "Garwood, Biometrika 1936;28:437",
        ),
    )


def _notes(watched: _Watched, table: pd.DataFrame) -> tuple[Note, ...]:
    notes = []
    if watched.unchecked:
        total = watched.unchecked + watched.patient.size + watched.no_group
        notes.append(
            Note(
                code="MISSING",
                text=f"{watched.unchecked:,} of {total:,} sessions are out of every denominator: nobody recorded "
                "whether adverse events were looked for.",
            )
        )
    zero = table[(table["unit"] == "sessions") & (table["events"] == 0) & (table["n"] > 0)]
    if len(zero):
        notes.append(
            Note(
                code="ZERO_EVENTS",
                text="Where no event was recorded the upper limit is the exact one, and clustering within patients "
                "cannot be estimated.",
            )
        )
    patients = np.unique(watched.patient).size
    if 0 < patients < 20:
        notes.append(
            Note(code="FEW_CLUSTERS", text=f"Only {patients} patients: intervals for sessions are approximate.")
        )
    return (*notes, *_overdispersion(watched))


def _overdispersion(watched: _Watched) -> tuple[Note, ...]:
    """A note when events crowd in few patients, so that the Garwood interval is too narrow."""
    patient, place = np.unique(watched.patient, return_inverse=True)
    if patient.size < 2:
        return ()
    per_session = np.bincount(watched.event_session[watched.event_session >= 0], minlength=watched.patient.size)
    events = np.bincount(place, weights=per_session, minlength=patient.size)
    days = np.bincount(place, weights=watched.days, minlength=patient.size)
    return dispersion(events[days > 0], days[days > 0]).notes if events.sum() else ()
