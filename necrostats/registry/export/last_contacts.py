"""Several last contacts of one patient in a log: the latest one counts, where nothing contradicts it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.registry.export.layout import RowsLayout
from necrostats.registry.export.table_drafts import Made, Mark, without
from necrostats.registry.reading import count

_DAY = "last_contact_day"
_CONTACT = {_DAY, "vital_status", "death_day", "death_cause"}
_SAME = "is the latest of {} of the patient, and counts"
_OTHER = "is the latest of {} of the patient, which differ in whether he lives; it counts"
_DEATH = "says that the patient died, and a later contact says that he lives; the death counts"


def with_one_contact(patients: Made, makers: Sequence[RowsLayout]) -> Made:
    """The rows of patients with, of several dated rows that hold nothing but a last contact, the one that counts."""
    logs = [number for number, rows in enumerate(makers) if _is_log(rows)]
    rows = np.flatnonzero(np.isin(patients.maker, logs))
    day = patients.day(_DAY).first.copy()
    written = pd.to_numeric(pd.Series(patients.text(_DAY).plain()), errors="coerce").to_numpy(dtype=float)
    day = np.where(np.isnan(day), written, day)
    rows = rows[~np.isnan(day[rows])]
    groups = pd.Series(rows).groupby([patients.person[rows], patients.maker[rows]])
    several = [group.to_numpy() for _, group in groups if len(set(day[group])) > 1]
    home: dict[int, int] = {}
    marks = []
    for group in several:
        kept, told, severity = _chosen(patients, group, day)
        home |= {row: kept for row in group.tolist() if row != kept}
        marks.append(_mark(patients, kept, told.format(count(len(group), "last contact", "last contacts")), severity))
    return without(patients.with_marks(*marks), home) if home else patients


def _is_log(rows: RowsLayout) -> bool:
    return rows.table == "patients" and rows.holds(_DAY) and {column.to for column in rows.columns} <= _CONTACT


def _chosen(patients: Made, group: np.ndarray, day: np.ndarray) -> tuple[int, str, str]:
    """The row that counts, what is said of it, and how loudly."""
    latest = int(group[np.argmax(day[group])])
    status = patients.text("vital_status").plain()
    dead = [row for row in group.tolist() if status[row] == "dead" or patients.day("death_day").known[row]]
    if dead and latest not in dead:
        return dead[-1], _DEATH, "asks"
    same = len(set(status[group])) == 1
    return latest, _SAME if same else _OTHER, "notes" if same else "asks"


def _mark(patients: Made, row: int, problem: str, severity: str) -> Mark:
    at = np.array([row])
    return Mark(
        rule="SEVERAL_LAST_CONTACTS",
        at=at,
        column=_DAY,
        severity=severity,
        problem=problem,
        origin=patients.origin(_DAY).take(at),
        remedy="Nothing to do if that is right. Else correct the rows.",
    )
