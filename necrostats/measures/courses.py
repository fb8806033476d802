"""What happened to each patient from the index drainage on: records to be seen line by line, not estimates."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import Outcomes, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.course_records import records
from necrostats.measures.grouping import Grouping, patient_groups
from necrostats.measures.phrases import counted
from necrostats.measures.resolution import record_notes
from necrostats.registry.tables import Registry
from necrostats.results import Courses, Method, Note, Population

LOST_AFTER_DAYS = 90


@dataclass(frozen=True, kw_only=True, eq=False)
class Ended:
    """How each patient's course ended (n,): a place in `labels`, ends first and then the ways of not having ended."""

    labels: tuple[str, ...]
    codes: np.ndarray
    day: np.ndarray


def patient_courses(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    lost_after_days: int = LOST_AFTER_DAYS,
) -> Courses:
    """Every record of every patient as a day from the index drainage, patients ordered by outcome and length of course.

    Patients are numbered in the order shown: there is no id and no date. Somebody unresolved counts as still under
    treatment when the last contact lies within `lost_after_days` of the data lock, else as lost to view (common
    practice, no source). `by` is something recorded at the index drainage.
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    ended = _ended(registry, ends, definition, lost_after_days)
    table = _ordered(records(registry, ends), groups, ended, _last_seen(registry))
    return Courses(
        title="Patient courses from the index drainage",
        table=table,
        horizon=definition.horizon_days,
        population=Population(
            patients=len(registry.patients) - groups.left_out,
            collections=len(registry.collections),
            sessions=len(registry.sessions),
            left_out={"patients without a group": groups.left_out},
        ),
        method=_method(definition, level, lost_after_days),
        notes=(*_notes(registry), *record_notes(ends)),
    )


def _ended(registry: Registry, ends: Outcomes, definition: ResolutionDefinition, lost_after: int) -> Ended:
    unresolved = (f"unresolved at day {definition.horizon_days}", "still under treatment", "lost to view unresolved")
    observed = registry.patients["observed_days"].to_numpy(dtype=np.int64)
    way = np.where(ends.day >= definition.horizon_days, 0, np.where(observed - ends.day <= lost_after, 1, 2))
    causes = len(ends.causes)
    codes = np.where(ends.cause > 0, ends.cause - 1, causes + way)
    return Ended(labels=(*ends.causes, *unresolved), codes=codes, day=ends.day)


def _last_seen(registry: Registry) -> np.ndarray:
    return registry.patients["last_contact_day"].to_numpy(dtype=np.int64)


def _ordered(rows: pd.DataFrame, groups: Grouping, ended: Ended, last_seen: np.ndarray) -> pd.DataFrame:
    """The records with their patients numbered by group, outcome and length of course; ties by what was recorded."""
    position = rows["position"].to_numpy(dtype=np.int64)
    how_many = np.bincount(position, minlength=ended.day.size)
    order = np.lexsort((how_many, last_seen, ended.day, ended.codes, groups.codes))
    order = order[groups.codes[order] >= 0]
    number = np.zeros(ended.day.size, dtype=np.int64)
    number[order] = np.arange(1, order.size + 1)
    rows = rows.assign(
        patient=number[position],
        group=groups.column(groups.codes[position]),
        outcome=pd.Categorical.from_codes(ended.codes[position], categories=list(ended.labels), ordered=True),
    )
    shown = rows[rows["patient"] > 0].sort_values(["patient", "what", "day", "day_to", "detail"], kind="stable")
    return shown[list(Courses.columns)].reset_index(drop=True)


def _method(definition: ResolutionDefinition, level: float, lost_after: int) -> Method:
    return Method(
        estimand="a listing of what was recorded, not an estimate",
        estimator="every session, stent, scan, adverse event and other intervention on its day from index drainage",
        interval="none",
        level=level,
        definition=f"{definition.sentence()} Unresolved and last seen within {lost_after} days of the data lock: still "
        "under treatment; earlier: lost to view. A session of drainage and necrosectomy counts as both. The size of a "
        "scan day is the longest axis of the largest collection measured on it. Grades are AGREE grades. Patients are "
        "numbered in the order shown: no identifier and no date",
        references=tuple(filter(None, [definition.reference])),
    )


def _notes(registry: Registry) -> tuple[Note, ...]:
    stents, events = registry.stents, registry.adverse_events
    unknown = int((stents["removed_day"].isna() & stents["end_reason"].isna()).sum())
    ungraded = int(events["agree_grade"].isna().sum())
    said = {
        f"{counted(unknown, 'stent has', 'stents have')} neither a day of removal nor a reason: how long they stayed "
        "is not known.": unknown,
        f"{counted(ungraded, 'adverse event has', 'adverse events have')} no AGREE grade.": ungraded,
    }
    return tuple(Note(code="MISSING", text=text) for text, count in said.items() if count)
