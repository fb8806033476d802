"""Rows set aside before anything is made of them: no patient, copies, rows that a stray quotation mark joined."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.export.laying import LaidSheet
from necrostats.registry.export.names import folded
from necrostats.registry.export.people import NOBODY, People
from necrostats.registry.findings import DUPLICATE_ROW

_MIXING = np.uint64(0x9E3779B97F4A7C15)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RowsAside:
    """Rows (positions) of a sheet set aside whole, and why. `heading` names the column it shows in."""

    rule: str
    sheet: LaidSheet
    at: np.ndarray
    severity: str
    problem: str
    remedy: str
    heading: str = ""


def rows_aside(sheets: Sequence[LaidSheet], people: People) -> list[RowsAside]:
    """Every row that is nobody's or that cannot be one row; each row once, by the first rule that catches it."""
    found = []
    for sheet, person in zip(sheets, people.of, strict=True):
        free = np.ones(len(sheet), dtype=bool)
        for rule in (_skipped, _swallowed, _long, _nobody, _copies):
            for aside in rule(sheet, person, free.copy()):
                if len(aside.at):
                    free[aside.at] = False
                    found.append(aside)
    return found


def _skipped(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    yield RowsAside(
        rule="SKIPPED", sheet=sheet, at=np.flatnonzero(np.isin(sheet.rows, sheet.layout.skip_rows)), severity="notes",
        problem="the layout says that this row is no record", remedy="Nothing to do if that is right.",
    )  # fmt: skip


def _swallowed(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    if len(sheet.grid.swallowed):
        yield RowsAside(
            rule="STRAY_QUOTE", sheet=sheet, at=np.flatnonzero(free & sheet.grid.swallowed[sheet.below]),
            severity="stops", problem="one cell of this row holds what looks like several rows",
            remedy='A quotation mark is probably never closed: close it, or write it twice ("").',
        )  # fmt: skip


def _long(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    """In a csv a cell beyond the last heading means that the cells before it may have moved."""
    if sheet.grid.sheet:
        return
    named = [number for number, column in enumerate(sheet.columns.values()) if not column.heading.startswith("(")]
    ignored = {folded(heading) for heading in sheet.layout.ignore}
    for number, (name, column) in enumerate(sheet.columns.items()):
        if number > max(named, default=0) and name not in ignored:
            yield RowsAside(
                rule="LONG_ROW", sheet=sheet, at=np.flatnonzero(free & column.raw.filled()), severity="stops",
                problem="this row has more cells than the headings name, so its cells cannot be told apart",
                remedy="A cell probably holds a separator: put that cell in quotation marks.",
            )  # fmt: skip


def _nobody(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    heading = sheet.layout.patient[0] if sheet.layout.patient else ""
    yield RowsAside(
        rule="NO_PATIENT", sheet=sheet, at=np.flatnonzero(free & (person == NOBODY)), severity="stops",
        problem="nothing says which patient this row is about",
        remedy="Fill in the cell. If the row is no record, name it in skip_rows.", heading=heading,
    )  # fmt: skip


def _copies(sheet: LaidSheet, person: np.ndarray, free: np.ndarray) -> Iterator[RowsAside]:
    """A row of a sheet that makes patients, word for word the same as one above it."""
    if not sheet.layout.patient or not any(rows.table == "patients" for rows in sheet.layout.rows):
        return
    rows = _alike(sheet, np.flatnonzero(free))
    same = pd.DataFrame({name: column.raw.which[rows] for name, column in sheet.columns.items()}).duplicated()
    yield RowsAside(
        rule=DUPLICATE_ROW, sheet=sheet, at=rows[same.to_numpy(dtype=bool)], severity="asks",
        problem="this row stands here word for word a second time; the first one counts",
        remedy="Take the copy away, or correct its key if it is another patient.",
    )  # fmt: skip


def _alike(sheet: LaidSheet, rows: np.ndarray) -> np.ndarray:
    """Of some rows those that may be the same as another: a number made of all their cells is."""
    mixed = np.zeros(len(rows), dtype=np.uint64)
    for column in sheet.columns.values():
        mixed = mixed * _MIXING + column.raw.which[rows].astype(np.uint64)
    return rows[pd.Series(mixed).duplicated(keep=False).to_numpy()]
