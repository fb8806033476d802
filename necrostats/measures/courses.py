"""What happened to each patient from the index drainage on: records to be seen line by line, not estimates.

Every record of a registry as a row: whose it is, what it is, and its day from the index drainage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.definitions.adverse_events import AGREE
from necrostats.definitions.outcomes import SURGERY, Outcomes, last_seen_days, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.event_follow_up import stent_days
from necrostats.measures.grouping import Grouping, counted, patient_groups
from necrostats.measures.resolution import record_notes
from necrostats.registry.codebook import DRAINAGES, NECROSECTOMIES
from necrostats.registry.tables import Registry
from necrostats.results import Courses, Method, Note, Population

KINDS = (
    "course",
    "follow-up",
    "drainage",
    "necrosectomy",
    "other session",
    "stent",
    "scan",
    "adverse event",
    "surgery",
    "percutaneous drain",
    "other intervention",
    "resolved",
    "death",
)
_COLUMNS = ("position", "what", "detail", "day", "day_to", "size_mm", "grade")


def records(registry: Registry, ends: Outcomes) -> pd.DataFrame:
    """One row a record. `position` is the patient's row; `what` one of KINDS; `day_to` blank for what has one day."""
    parts = [
        *_spans(registry, ends),
        *_sessions(registry),
        _stents(registry),
        _scans(registry),
        _events(registry),
        *_interventions(registry),
        _resolved(ends),
        _deaths(registry),
    ]
    rows = {name: np.concatenate([part[name] for part in parts]) for name in _COLUMNS}
    return pd.DataFrame(
        {
            "position": rows["position"].astype(np.int64),
            "what": pd.Categorical(rows["what"], categories=list(KINDS), ordered=True),
            "detail": pd.array(rows["detail"], dtype="string"),
            "day": pd.array(rows["day"], dtype="Int64"),
            "day_to": pd.array(rows["day_to"], dtype="Int64"),
            "size_mm": rows["size_mm"].astype("float64"),
            "grade": pd.Categorical(rows["grade"], categories=list(AGREE.grades), ordered=True),
        }
    )


def _part(what: str, position: np.ndarray, day, *, detail="", day_to=pd.NA, size_mm=np.nan, grade=None) -> dict:
    """Columns of equal length; what is not given is blank."""
    given = {"what": what, "detail": detail, "day": day, "day_to": day_to, "size_mm": size_mm, "grade": grade}
    return {"position": position} | {name: _column(values, len(position)) for name, values in given.items()}


def _column(values, length: int) -> np.ndarray:
    if isinstance(values, pd.Series):
        return values.astype(object).to_numpy(dtype=object, na_value=pd.NA)
    column = np.empty(length, dtype=object)
    column[:] = values
    return column


def _range_end(frame: pd.DataFrame, column: str = "day") -> pd.Series:
    """The latest day of what is dated to a range; blank where the day is exact."""
    latest = frame[f"{column}_latest"]
    return latest.where((latest != frame[column]).fillna(False), pd.NA)


def _spans(registry: Registry, ends: Outcomes) -> list[dict]:
    everybody, seen = np.arange(len(registry.patients)), last_seen_days(registry)
    later = seen > ends.day
    followed = _part("follow-up", everybody[later], ends.day[later], day_to=seen[later])
    return [_part("course", everybody, 0, day_to=ends.day), followed]


def _rows_of(registry: Registry, table: str, kept, what: str, detail: str) -> dict:
    kept = np.asarray(kept, dtype=bool)
    frame = registry.tables[table][kept]
    position = registry.position(table)[kept]
    return _part(what, position, frame["day"], detail=frame[detail], day_to=_range_end(frame))


def _sessions(registry: Registry) -> list[dict]:
    kind = registry.sessions["session_type"]
    drainage, necrosectomy = kind.isin(DRAINAGES), kind.isin(NECROSECTOMIES)
    each = {"drainage": drainage, "necrosectomy": necrosectomy, "other session": ~(drainage | necrosectomy)}
    return [_rows_of(registry, "sessions", kept, what, "session_type") for what, kept in each.items()]


def _stents(registry: Registry) -> dict:
    out, known = stent_days(registry)
    day_to = np.where(known, out, pd.NA)
    stents = registry.stents
    return _part("stent", registry.position("stents"), stents["placed_day"], detail=stents["stent_type"], day_to=day_to)


def _scans(registry: Registry) -> dict:
    """One row for each day on which a patient was scanned, with the largest longest axis seen on it."""
    scans = pd.DataFrame(
        {
            "position": registry.position("scans"),
            "day": registry.scans["day"].to_numpy(dtype=np.int64),
            "size": registry.scans["long_mm"].to_numpy(dtype="float64"),
            "day_to": _range_end(registry.scans).to_numpy(dtype="float64", na_value=np.nan),
        }
    )
    days = scans.groupby(["position", "day"], as_index=False)[["size", "day_to"]].max()
    day_to = days["day_to"].astype("Int64")
    return _part("scan", days["position"].to_numpy(), days["day"], day_to=day_to, size_mm=days["size"].to_numpy())


def _events(registry: Registry) -> dict:
    events = registry.adverse_events
    return _part(
        "adverse event",
        registry.position("adverse_events"),
        events["day"],
        detail=events["event_type"],
        day_to=_range_end(events),
        grade=events["agree_grade"],
    )


def _interventions(registry: Registry) -> list[dict]:
    kind = registry.other_interventions["kind"]
    surgery, drain = kind.isin(SURGERY), kind == "percutaneous_drain"
    each = {"surgery": surgery, "percutaneous drain": drain, "other intervention": ~(surgery | drain)}
    return [_rows_of(registry, "other_interventions", kept, what, "kind") for what, kept in each.items()]


def _resolved(ends: Outcomes) -> dict:
    resolved = np.flatnonzero(ends.cause == 1)
    return _part("resolved", resolved, ends.day[resolved])


def _deaths(registry: Registry) -> dict:
    patients = registry.patients
    dead = ((patients["vital_status"] == "dead") & patients["death_day"].notna()).to_numpy(dtype=bool)
    died = patients[dead]
    return _part(
        "death",
        np.flatnonzero(dead),
        died["death_day"],
        detail=died["death_cause"],
        day_to=_range_end(died, "death_day"),
    )


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

    Counted: patients with an index drainage, one line each.
    Source: a count or description, common practice.
    """
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    ended = _ended(registry, ends, definition, lost_after_days)
    table = _ordered(records(registry, ends), groups, ended, _last_seen(registry))
    return Courses(
        title="Patient courses from the index drainage",
        frame=table,
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
        definition=f"{definition.sentence()} Unresolved and last seen within {lost_after} days of the data lock (the "
        "day the records were frozen for this report): still under treatment; earlier: lost to view. A session of "
        "drainage and necrosectomy counts as both. The size of a scan day is the longest axis of the largest "
        "collection measured on it. Grades are AGREE grades. Patients are numbered in the order shown: no identifier "
        "and no date",
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
