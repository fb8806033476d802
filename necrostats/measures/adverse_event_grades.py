"""How grave adverse events were: the worst grade of each patient, and types of event by grade."""

from __future__ import annotations

import numpy as np

from necrostats.definitions.adverse_events import THIRTY_DAYS, EventWindow, window_named
from necrostats.definitions.grades import AGREE, CLAVIEN_DINDO, GradingScale, scale_named
from necrostats.measures.adverse_event_choosing import ANY, EVENT_TYPES, of_type
from necrostats.measures.adverse_event_units import Watchful, known_interval
from necrostats.measures.adverse_event_wording import CHECKED, INTERVAL_REFERENCES, watching_notes
from necrostats.measures.grouping import session_groups
from necrostats.measures.phrases import counted
from necrostats.measures.summaries import share_row, summary_row, summary_table
from necrostats.measures.watching import Watched, watched
from necrostats.registry.tables import Registry
from necrostats.results import Method, Note, Population, Summary
from necrostats.stats.proportions import clopper_pearson

NO_EVENT, UNGRADED = "no event", "not graded"
SHARED_LABELS = ("IIIa", "IIIb")


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
    """
    window, scale = window_named(window), scale_named(grading)
    groups = session_groups(registry, by)
    seen = watched(registry, groups, window)
    rows = [
        row for place in range(len(groups.labels)) for row in _worst(registry, seen, scale, place, level)
    ]  # fmt: skip
    return Summary(
        title=f"Worst {scale.name} grade of each patient, adverse events {window.sentence()}",
        table=summary_table(rows, groups),
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
        table=summary_table(rows, groups),
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
    return registry.adverse_events[scale.column].astype(object).map(
        {grade: place for place, grade in enumerate(scale.grades)}
    ).fillna(-1).to_numpy(dtype=np.int64)  # fmt: skip


def _worst(registry: Registry, seen: Watched, scale: GradingScale, group: int, level: float):
    """The rows of one group: no event, each grade, not graded."""
    side = Watchful.of(seen, group)
    patients = side.days.size
    place = np.full(seen.sessions, -1, dtype=np.int64)
    place[side.here] = side.patient
    counts = seen.event_session >= 0
    whose, grade = place[seen.event_session[counts]], _grades(registry, scale)[counts]
    worst, any_event = np.full(patients, -1, dtype=np.int64), np.zeros(patients, dtype=bool)
    np.maximum.at(worst, whose[whose >= 0], grade[whose >= 0])
    any_event[whose[whose >= 0]] = True
    found = {NO_EVENT: ~any_event, UNGRADED: any_event & (worst < 0)}
    found |= {name: worst == at for at, name in enumerate(scale.grades)}
    for name in (NO_EVENT, *scale.grades, UNGRADED):
        events = int(found[name].sum())
        limits = clopper_pearson(events, patients, level=level)
        yield share_row(
            f"worst {scale.name} grade", group, level=name, events=events, n=patients, missing=0, patients=patients,
            low=limits.low, high=limits.high,
        )  # fmt: skip


def _counts(registry: Registry, seen: Watched, scale: GradingScale, variable: str, group: int):
    """The rows of one type in one group: each grade, not graded."""
    in_group = np.append(seen.group == group, False)[seen.event_session]
    here = in_group & of_type(registry, variable)
    grade = _grades(registry, scale)[here]
    graded = np.bincount(grade + 1, minlength=len(scale.grades) + 1)
    patients = np.unique(registry.position("adverse_events")[here]).size
    for name, events in zip((*scale.grades, UNGRADED), (*graded[1:], graded[0]), strict=True):
        yield summary_row(
            variable, group, "count", level=name, events=int(events), n=grade.size, missing=int(graded[0]),
            patients=patients,
        )  # fmt: skip


def _seriousness(scale: GradingScale) -> str:
    return f"{scale.name} grades as recorded, none inferred; serious from {scale.serious_from}"


def _ungraded_note(registry: Registry, seen: Watched, scale: GradingScale) -> tuple[Note, ...]:
    counts = seen.event_session >= 0
    without = int(np.count_nonzero(_grades(registry, scale)[counts] < 0))
    events = counted(int(np.count_nonzero(counts)), "event carries", "events carry")
    text = f"{without:,} of {events} no {scale.name} grade: a patient's worst may be graver than what is shown."
    return (Note(code="MISSING", text=text),) if without else ()
