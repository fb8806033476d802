"""How grave adverse events were: the worst grade of each patient, and types of event by grade.

All of a patient's complications in one number: the Comprehensive Complication Index.

The adverse events one by one, for the meeting.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import (
    AGREE,
    ANY,
    CLAVIEN_DINDO,
    EVENT_TYPES,
    INDEX_REFERENCE,
    THIRTY_DAYS,
    EventWindow,
    GradingScale,
    complication_index_of_patients,
    of_type,
    scale_named,
    window_named,
)
from necrostats.definitions.groups import age_band, extent_of_patients
from necrostats.measures.adverse_events import CHECKED, INTERVAL_REFERENCES, Watchful, known_interval, watching_notes
from necrostats.measures.event_follow_up import NO_RECORD, Watched, watched, whole_histories
from necrostats.measures.grouping import (
    Grouping,
    counted,
    patient_groups,
    session_groups,
    share_row,
    summary_row,
    summary_table,
)
from necrostats.measures.needs import EVENTS, EVENTS_CHECKED, needing
from necrostats.registry.tables import Registry
from necrostats.results import Listing, Method, Note, Population, Summary
from necrostats.stats.proportions import clopper_pearson

NO_EVENT, UNGRADED = "no event", "not graded"
SHARED_LABELS = ("IIIa", "IIIb")


@needing("Worst grade of each patient", (EVENTS, EVENTS_CHECKED))
def worst_grades(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    grading: GradingScale | str = AGREE,
    window: EventWindow | str = THIRTY_DAYS,
) -> Summary:
    """The worst grade of each patient: one share a grade, with its exact interval; the shares of a group sum to 1.

    Of patients with a session in which somebody looked for events or recorded one. "not graded" are patients of whose
    events none has a grade on that scale. `by` is a column of the patient at the start, or of the session (a patient
    then counts in each group with the events put down to its sessions).

    Counted: patients with a session in which somebody looked for events or recorded one.
    Source: Nass et al., Gastrointest Endosc 2022;95:1078 (AGREE; from memory); Clopper and Pearson, Biometrika
        1934;26:404.
    """
    window, scale = window_named(window), scale_named(grading)
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    rows = [row for place in range(len(groups.labels)) for row in _worst(registry, seen, scale, place, level)]
    return Summary(
        title=f"Worst {scale.name} grade of each patient, adverse events {window.sentence()}",
        frame=summary_table(rows, groups),
        population=Population(patients=seen.patients, sessions=seen.sessions, left_out=seen.left_out()),
        method=Method(
            estimand=f"share of patients by the worst {scale.name} grade of their adverse events {window.sentence()}",
            estimator="patients over patients",
            interval=f"{known_interval('Clopper–Pearson')}, each grade for itself",
            level=level,
            definition=f"window: {window.sentence()}; patients with {CHECKED}; {_seriousness(scale)}",
            references=(scale.reference, INTERVAL_REFERENCES["Clopper–Pearson"]),
        ),
        notes=(*watching_notes(seen), *_ungraded_note(registry, seen, scale), *two_scales_note(registry)),
    )


@needing("Adverse events, by type and grade", (EVENTS,))
def event_grades(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    grading: GradingScale | str = AGREE,
    window: EventWindow | str = THIRTY_DAYS,
) -> Summary:
    """Types of adverse event by grade: counts, with those that carry no grade in a column of their own.

    One row a type, grade and group: `events` of `n` events of that type, `missing` of them without a grade. A count
    of what was recorded, not a rate: nothing is divided by patients or sessions.

    Counted: adverse events in the window of a session.
    Source: Nass et al., Gastrointest Endosc 2022;95:1078 (AGREE; from memory).
    """
    window, scale = window_named(window), scale_named(grading)
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    rows = [
        row
        for variable in (*EVENT_TYPES, ANY)
        for place in range(len(groups.labels))
        for row in _counts(registry, seen, scale, variable, place)
    ]
    return Summary(
        title=f"Adverse events {window.sentence()}, by type and {scale.name} grade",
        frame=summary_table(rows, groups),
        population=Population(patients=seen.patients, sessions=seen.sessions, left_out=seen.left_out()),
        method=Method(
            estimand="a count of the adverse events recorded, not an estimate",
            estimator=f"adverse events {window.sentence()}, by type and grade",
            interval="none: a count, not an inference",
            level=level,
            definition=f"window: {window.sentence()}; {CHECKED}; {_seriousness(scale)}",
            references=(scale.reference,),
        ),
        notes=(*watching_notes(seen), *_ungraded_note(registry, seen, scale), *two_scales_note(registry)),
    )


def two_scales_note(registry: Registry) -> tuple[Note, ...]:
    """The caution that IIIa and IIIb of two scales differ, where a registry fills both."""
    events = registry.adverse_events
    if not all(events[scale.column].notna().any() for scale in (AGREE, CLAVIEN_DINDO)):
        return ()
    agree, clavien = (int(events[scale.column].isin(SHARED_LABELS).sum()) for scale in (AGREE, CLAVIEN_DINDO))
    text = (
        f"This registry holds two scales with the same labels: AGREE IIIa and IIIb ({agree:,} here) part an "
        "endoscopic or radiological treatment from a surgical one, Clavien–Dindo IIIa and IIIb "
        f"({clavien:,} here) treatment without from treatment under general anaesthesia. Neither is read "
        "as the other."
    )
    return (Note(code="TWO_SCALES", text=text),)


def _grades(registry: Registry, scale: GradingScale) -> np.ndarray:
    """The place of each event's grade (E,) in the scale, −1 where it has none."""
    return (
        registry.adverse_events[scale.column]
        .astype(object)
        .map({grade: place for place, grade in enumerate(scale.grades)})
        .fillna(-1)
        .to_numpy(dtype=np.int64)
    )


def _worst(registry: Registry, seen: Watched, scale: GradingScale, group: int, level: float):
    """The rows of one group: no event, each grade, not graded."""
    side = Watchful.of(seen, group)
    patients = side.days.size
    place = np.full(seen.sessions, -1, dtype=np.int64)
    place[side.here] = side.patient
    counts = seen.watching >= 0
    whose, grade = place[seen.watching[counts]], _grades(registry, scale)[counts]
    worst, any_event = np.full(patients, -1, dtype=np.int64), np.zeros(patients, dtype=bool)
    np.maximum.at(worst, whose[whose >= 0], grade[whose >= 0])
    any_event[whose[whose >= 0]] = True
    found = {NO_EVENT: ~any_event, UNGRADED: any_event & (worst < 0)}
    found |= {name: worst == at for at, name in enumerate(scale.grades)}
    for name in (NO_EVENT, *scale.grades, UNGRADED):
        events = int(found[name].sum())
        limits = clopper_pearson(events, patients, level=level)
        yield share_row(
            f"worst {scale.name} grade",
            group,
            level=name,
            events=events,
            n=patients,
            missing=0,
            patients=patients,
            low=limits.low,
            high=limits.high,
        )


def _counts(registry: Registry, seen: Watched, scale: GradingScale, variable: str, group: int):
    """The rows of one type in one group: each grade, not graded."""
    in_group = np.append(seen.group == group, False)[seen.watching]
    here = in_group & of_type(registry, variable)
    grade = _grades(registry, scale)[here]
    graded = np.bincount(grade + 1, minlength=len(scale.grades) + 1)
    patients = np.unique(registry.position("adverse_events")[here]).size
    for name, events in zip((*scale.grades, UNGRADED), (*graded[1:], graded[0]), strict=True):
        yield summary_row(
            variable,
            group,
            "count",
            level=name,
            events=int(events),
            n=grade.size,
            missing=int(graded[0]),
            patients=patients,
        )


def _seriousness(scale: GradingScale) -> str:
    return f"{scale.name} grades as recorded, none inferred; serious from {scale.serious_from}"


def _ungraded_note(registry: Registry, seen: Watched, scale: GradingScale) -> tuple[Note, ...]:
    counts = seen.watching >= 0
    without = int(np.count_nonzero(_grades(registry, scale)[counts] < 0))
    events = counted(int(np.count_nonzero(counts)), "event carries", "events carry")
    text = f"{without:,} of {events} no {scale.name} grade: a patient's worst may be graver than what is shown."
    return (Note(code="MISSING", text=text),) if without else ()


EVERYBODY, AFFECTED = "complication index", "complication index of those with an event"


@needing("Comprehensive Complication Index", (EVENTS, EVENTS_CHECKED))
def complication_index(registry: Registry, *, by: str | None = None, level: float = 0.95) -> Summary:
    """The Comprehensive Complication Index (0 to 100) of each patient: median and quartiles, from all recorded events.

    No event is 0, where somebody looked for events in at least one session; elsewhere it is not known. A patient with
    an event that has no Clavien–Dindo grade has no index (unless another is grade V) and is counted as missing. The
    second variable is conditional on an event. `by` is something recorded at the index drainage. Raises DesignError
    for a registry narrowed to a period: the index takes all events of a patient.

    Counted: patients in whom somebody looked for events in at least one session.
    Source: Slankamenac et al., Ann Surg 2013;258:1-7 (weights from memory); Dindo et al., Ann Surg 2004;240:205 (from
        memory).
    """
    whole_histories(registry, "The complication index")
    groups = patient_groups(registry, by)
    affected, looked_at = _affected(registry), _looked_at(registry)
    index = complication_index_of_patients(registry).where(affected | looked_at)
    rows = [
        _row(variable, index[kept & (groups.codes == place)], place)
        for variable, kept in ((EVERYBODY, np.ones(affected.size, dtype=bool)), (AFFECTED, affected))
        for place in range(len(groups.labels))
    ]
    return Summary(
        title="Comprehensive Complication Index",
        frame=summary_table(rows, groups),
        population=_population(registry, groups),
        method=Method(
            estimand="the complications of each patient in one number, 0 (none) to 100 (death)",
            estimator="half the root of the summed weights of all Clavien–Dindo grades; median and quartiles",
            interval="none: a description, not an inference",
            level=level,
            definition="all adverse events recorded of a patient, whatever the session or window; Clavien–Dindo grades "
            "only, AGREE grades are never used for it",
            references=(f"{INDEX_REFERENCE} (weights from memory)", CLAVIEN_DINDO.reference),
        ),
        notes=(*_notes(registry, index, affected, looked_at), *two_scales_note(registry)),
    )


def _row(variable: str, index: pd.Series, group: int) -> dict:
    known = index.dropna().to_numpy(dtype=float)
    low, middle, high = np.quantile(known, [0.25, 0.5, 0.75]) if known.size else (np.nan,) * 3
    return summary_row(
        variable,
        group,
        "median",
        n=known.size,
        missing=len(index) - known.size,
        patients=known.size,
        estimate=middle,
        low=low,
        high=high,
    )


def _affected(registry: Registry) -> np.ndarray:
    """Patients (P,) with a recorded event."""
    return np.bincount(registry.position("adverse_events"), minlength=len(registry.patients)) > 0


def _looked_at(registry: Registry) -> np.ndarray:
    """Patients (P,) with a session in which somebody looked for events."""
    checked = registry.sessions["events_checked"].fillna(False).to_numpy(dtype=bool)
    return np.bincount(registry.position("sessions")[checked], minlength=len(registry.patients)) > 0


def _population(registry: Registry, groups: Grouping) -> Population:
    return Population(
        patients=len(registry.patients) - groups.left_out, left_out={"patients without a group": groups.left_out}
    )


def _notes(registry: Registry, index: pd.Series, affected: np.ndarray, looked_at: np.ndarray) -> tuple[Note, ...]:
    ungraded = int(registry.adverse_events["clavien_grade"].isna().sum())
    without = int(np.count_nonzero(affected & index.isna().to_numpy()))
    unknown = int(np.count_nonzero(~affected & ~looked_at))
    unchecked = int((~registry.sessions["events_checked"].fillna(False).astype(bool)).sum())
    events = counted(ungraded, "event has", "events have")
    have = counted(without, "patient has", "patients have")
    of = counted(unknown, "patient", "patients")
    sessions = counted(unchecked, "session", "sessions")
    said = {
        f"{events} no Clavien–Dindo grade, so {have} no index and {'is' if without == 1 else 'are'} counted as "
        "missing.": ungraded,
        f"{of} {NO_RECORD}: no index.": unknown,
        f"{sessions} {NO_RECORD}: the index may be too low.": unchecked,
    }
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)


_SHOWN = ("event_type", "day", "agree_grade", "attribution", "treatment")


@needing("Adverse events, one by one", (EVENTS,))
def adverse_event_cases(registry: Registry, *, by: None = None, level: float = 0.95) -> Listing:
    """The adverse events one by one, without a date, an id or an exact age: day offsets, grade and treatment.

    Counted: adverse events recorded, one row each.
    Source: a count or description, common practice.
    """
    events = registry.adverse_events
    position = registry.position("adverse_events")
    table = pd.DataFrame(
        {
            "case": np.arange(1, len(events) + 1),
            "age_band": age_band(registry.patients["age_years"]).iloc[position].to_numpy(),
            "extent_class": extent_of_patients(registry).iloc[position].to_numpy(),
            **{name: events[name].to_numpy() for name in _SHOWN},
        }
    )
    return Listing(
        title="Adverse events, one by one",
        frame=table,
        population=Population(patients=len(np.unique(position))),
        method=Method(
            estimand="a listing, not an estimate",
            estimator="every adverse event recorded for these sessions",
            interval="none",
            level=level,
            definition="day counted from the index drainage; age in bands; no identifier and no date",
        ),
    )
