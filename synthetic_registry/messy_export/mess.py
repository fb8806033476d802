"""The whole workbook: every sheet filled, copied rows and strays added, and what one bad cell does to others marked."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from messy_export import long_sheets as long
from messy_export.cells import IGNORED, NOT_MENTIONED, ROW, SET_ASIDE, Typed
from messy_export.den import fill
from messy_export.grid import Grid
from messy_export.long_sheets import KEY
from messy_export.people import Pen
from messy_export.unit import Patient

COPIED = {"Scans": 5, "Clinic": 4}
COMMENTS = (
    "checked against the report",
    "typed from the letter",
    "not sure about this one",
    "two sources disagree",
)


@dataclass(frozen=True, kw_only=True)
class Mess:
    """The sheets in order, each cell with its truth, and the patients with at least one row."""

    grids: tuple[Grid, ...]
    patients: int


def make(patients: list[Patient], *, seed: int) -> Mess:
    """The same patients and seed give the same sheets."""
    pen = Pen(seed)
    den = fill(pen, patients)
    deaths, undated = long.deaths(pen, patients)
    grids = [
        den.grid,
        long.scans(pen, patients),
        long.clinic(pen, patients),
        long.complications(pen, patients, den.named),
        deaths,
        long.interventions(pen, patients),
        long.other_scopes(pen, patients),
    ]
    _strays(grids[1])
    for grid in grids:
        _copy(grid)
        _comment(pen, grid)
    _mark_lost(grids, den.lost | undated)
    _mark_unnamed(grids)
    return Mess(grids=(*grids, _lists(), _old()), patients=len(patients))


def _strays(grid: Grid) -> None:
    """A row that names nobody, and a row of a patient who is nowhere else."""
    for key, fate in (("?", SET_ASIDE), ("P9999", "")):
        row = grid.row()
        grid.key(row, KEY, Typed(value=key, fate=fate, mess="names nobody"), "")
        for label, value, fills in (
            ("Date  of\nscan", "2025-03-12", {"day": "*"}),
            ("Modalité", "CT", {"modality": "ct"}),
            ("Max size", "80x70x60", {"long_mm": "80"}),
        ):
            grid.put(
                row,
                ("", label),
                Typed(value=value, fills=fills, reading=ROW, mess="names nobody"),
                table="scans",
            )


def _copy(grid: Grid) -> None:
    rows = sorted({row for (row, column) in grid.cells if column == 1 and row > 1})
    for row in rows[:: max(1, len(rows) // COPIED.get(grid.name, 1))][: COPIED.get(grid.name, 0)]:
        grid.copy_row(row, aside=False)


def _comment(pen: Pen, grid: Grid) -> None:
    cells = [cell for cell in grid.cells.values() if cell.row > grid.tall + 6]
    for place in pen.rng.permutation(len(cells))[:4]:
        cells[int(place)].comment = pen.deal("comment", COMMENTS)


def _mark_lost(grids: Iterable[Grid], lost: set[str]) -> None:
    """Everything of a patient without an index day, a last day or a day of death is set aside."""
    for cell in (each for grid in grids for each in grid.cells.values()):
        if cell.patient in lost and cell.typed.fills and cell.becomes not in (SET_ASIDE, "duplicate"):
            cell.reading = ROW


def _mark_unnamed(grids: list[Grid]) -> None:
    """An event that names a session without a day goes with that session."""
    dated = {
        (cell.patient, cell.place)
        for cell in grids[0].cells.values()
        if "day" in cell.typed.fills and cell.reading != ROW
    }
    for (row, _), cell in list(grids[3].cells.items()):
        place = cell.typed.fills.get("session_id", "")
        if place and (cell.patient, f"sessions[{place[1:]}]") not in dated:
            for each in grids[3].in_row(row):
                each.reading = ROW if each.typed.fills else each.reading


def _lists() -> Grid:
    grid = Grid("Lists", [("", "tools"), ("", "people")], hidden=True)
    return _filled(grid, (("snare", "op A"), ("net", "op B"), ("jet", "op C")), IGNORED)


def _old() -> Grid:
    grid = Grid("old list", [("", "no"), ("", "state")], hidden=True)
    return _filled(grid, ((1, "done"), (2, "done"), (3, "lost")), NOT_MENTIONED)


def _filled(grid: Grid, rows: Iterable[tuple[object, object]], fate: str) -> Grid:
    for cell in grid.cells.values():
        cell.becomes = fate
    for values in rows:
        row = grid.row()
        for column, value in enumerate(values, start=1):
            grid.plain(row, column, value, fate)
    return grid
