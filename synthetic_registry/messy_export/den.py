"""Fills the wide sheet: who typed which row, who has two rows, whose later sessions stand in the last column."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

from messy_export.cells import SET_ASIDE, Formula
from messy_export.grid import Grid
from messy_export.people import PEOPLE, Pen
from messy_export.unit import Patient
from messy_export.wide import PatientRow
from messy_export.wide_columns import STUDY_NO, new_sheet

UNITS_ROW, COUNTS_ROW, BLANK_ROW, HEADING_ROW = 4, 5, 6, 40
WORD_FOR_WORD, TWO_ROWS, DISAGREE, HIDDEN = 3, 4, 2, 6


class Split(NamedTuple):
    """The number of the first session in a second row, and of the first in the last column (99: none)."""

    second_row: int = 99
    last_column: int = 99


@dataclass(kw_only=True)
class Den:
    """The filled sheet; the patients set aside whole; the sessions that other sheets can name by number."""

    grid: Grid
    lost: set[str] = field(default_factory=set)
    named: dict[str, set[str]] = field(default_factory=dict)


def fill(pen: Pen, patients: list[Patient]) -> Den:
    """The wide sheet of these patients."""
    grid = new_sheet()
    den = Den(grid=grid)
    grid.skip(UNITS_ROW, [(grid.columns[STUDY_NO], "units"), (3, "yrs"), (15, "cm"), (16, "%")])
    grid.skip(COUNTS_ROW, [(grid.columns[STUDY_NO], Formula(text="=COUNTA(A7:A400)", result=len(patients)))])
    grid.next_row = BLANK_ROW + 1
    splits = _splits(patients)
    second = [patient for patient in patients if splits[patient.code].second_row < 99]
    for patient in patients:
        if grid.next_row == HEADING_ROW:
            grid.skip(grid.row(), [(1, "--- second year ---")])
        _row(pen, den, patient, splits[patient.code])
    for at, patient in enumerate(second):
        _second_row(pen, den, patient, splits[patient.code], disagree=at < DISAGREE)
    first, step = BLANK_ROW + 1, max(1, len(patients) // WORD_FOR_WORD)
    for at in range(min(WORD_FOR_WORD, len(patients))):
        grid.copy_row(first + at * step, aside=True)
    grid.hidden_rows = [
        first + 2 + at * max(1, len(patients) // HIDDEN) for at in range(min(HIDDEN, len(patients) - 2))
    ]
    return den


def _splits(patients: list[Patient]) -> dict[str, Split]:
    splits = {patient.code: Split() for patient in patients}
    many = [patient.code for patient in patients if len(patient.necrosectomies) >= 4]
    splits |= {code: Split(last_column=4) for code in many[: len(many) * 2 // 3]}
    some = [patient.code for patient in patients if len(patient.necrosectomies) == 3]
    return splits | {code: Split(second_row=3) for code in some[1 : 1 + TWO_ROWS]}


def _row(pen: Pen, den: Den, patient: Patient, split: Split) -> None:
    row = PatientRow(pen, PEOPLE[int(pen.rng.integers(len(PEOPLE)))], den.grid, patient)
    row.key()
    row.baseline()
    row.collections()
    known = row.index()
    here = patient.necrosectomies[: min(split) - 1]
    for number, session in enumerate(here, start=1):
        row.session(number, session)
    if split.last_column < 99:
        row.rest(patient.necrosectomies[split.last_column - 1 :])
    elif pen.chance(0.1):
        row.no_rest()
    seen = row.end()
    den.named[patient.code] = {each["session_id"] for each in here if each["day"] != "0"}
    if not (known and seen):
        den.lost.add(patient.code)


def _second_row(pen: Pen, den: Den, patient: Patient, split: Split, *, disagree: bool) -> None:
    row = PatientRow(pen, PEOPLE[int(pen.rng.integers(len(PEOPLE)))], den.grid, patient)
    row.key()
    row.baseline(again=True)
    for number, session in enumerate(patient.necrosectomies[split.second_row - 1 :], start=split.second_row):
        row.session(number, session)
        den.named[patient.code].add(session["session_id"])
    if disagree:
        _disagree(den.grid, patient, row.row)
        den.lost.add(patient.code)


def _disagree(grid: Grid, patient: Patient, second: int) -> None:
    """Another age in the second row: an id twice with different content, and the patient is set aside."""
    column = grid.columns["Baseline", "Age\n(yrs)"]
    first = next(at for at, key in grid.cells if key == column and grid.cells[at, key].patient == patient.code)
    age = int(patient.row["age_years"]) + 2
    for at, value in ((first, age - 2), (second, age)):
        old = grid.cells.get((at, column)) or grid.cells[second, 1]
        typed = replace(old.typed, value=value, fills={}, fate=SET_ASIDE, mess="two rows disagree")
        grid.cells[at, column] = replace(old, row=at, column=column, typed=typed, becomes=SET_ASIDE, reading="")
