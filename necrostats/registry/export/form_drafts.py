"""Forms among the sheets of an export: a sheet a patient, a label beside each value, known by the labels they share."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from necrostats.registry.export.cells import EMPTY, Grid, RawCell, RawColumn
from necrostats.registry.export.heading_guesses import WITHIN, likeness, phrases
from necrostats.registry.export.layout_text import Sheet
from necrostats.registry.text import folded

_FEWEST_SHEETS, _FEWEST_LABELS, _FEWEST_HEADINGS = 2, 4, 4
_SECTIONS = ("patients", "collections", "stents", "deaths")
_LONGEST, _MOST_ROWS, _MOST_COLUMNS = 40, 200, 60


def forms_of(grids: Sequence[Grid]) -> list[Sheet]:
    """A sheet to propose for each pair of columns that are a form, and one for the table below, if there is any.

    The rows of a form are the sheets themselves: one row each, headed by its labels.
    """
    short = [grid for grid in grids if len(grid.rows) <= _MOST_ROWS and len(grid.columns) <= _MOST_COLUMNS]
    pairs = [pair for number in _columns(short) if (pair := _pair(short, number))]
    alike = [grid for grid in short if any(grid in found for _, found in pairs)]
    return [*(_form(number, found) for number, found in pairs), *_tables_below(alike)]


def _columns(grids: Sequence[Grid]) -> list[int]:
    return sorted({column.number for grid in grids for column in grid.columns})


def _pair(grids: Sequence[Grid], number: int) -> tuple[int, list[Grid]] | None:
    """The sheets in which a column holds the labels that most of them share; None if they are too few."""
    found = [(grid, labels) for grid in grids if len(labels := _known(grid, number)) >= _FEWEST_LABELS]
    counted = Counter(label for _, labels in found for label in labels)
    shared = {label for label, times in counted.items() if times * 2 > len(found)}
    alike = [grid for grid, labels in found if len(shared & labels) >= _FEWEST_LABELS]
    return (number, alike) if len(alike) >= _FEWEST_SHEETS else None


def _known(grid: Grid, number: int) -> set[str]:
    """The labels in a column that could be headings, if each stands there once and values have a column beside it."""
    labels = [folded(label) for _, label in _labels(grid, number)]
    known = {label for label in labels if _may_be_a_heading(label)}
    return known if _at(grid, number + 1) and len(set(labels)) * 5 >= len(labels) * 4 else set()


def _labels(grid: Grid, number: int) -> list[tuple[int, str]]:
    """The row and text of each cell of a column, above the table below, that is written like a label."""
    column, end = _at(grid, number), _end(grid)
    return (
        []
        if column is None
        else [
            (int(grid.rows[row]), cell.text.strip().rstrip(" :."))
            for row, cell in enumerate(column.cells[each] for each in column.which.tolist())
            if row < end and _is_label(cell)
        ]
    )


def _is_label(cell: RawCell) -> bool:
    text = cell.text.strip()
    return cell.value is None and 0 < len(text) <= _LONGEST and bool(re.search(r"[^\W\d_]", text))


@lru_cache(maxsize=4096)
def _may_be_a_heading(label: str) -> bool:
    sections = (phrases()[section] for section in _SECTIONS)
    return any(likeness(label, listed) >= WITHIN for section in sections for listed in section.values())


def _at(grid: Grid, number: int) -> RawColumn | None:
    return next((column for column in grid.columns if column.number == number), None)


def _end(grid: Grid) -> int:
    """The position of the first row that is full of headings: a table begins there, and the form is over."""
    for row in range(len(grid.rows)):
        cells = [column.cells[column.which[row]] for column in grid.columns]
        filled = [cell for cell in cells if cell.text.strip()]
        if len(filled) > _FEWEST_HEADINGS and all(map(_is_label, filled)) and row + 1 < len(grid.rows):
            return row
    return len(grid.rows)


def _form(number: int, grids: Sequence[Grid]) -> Sheet:
    """A form as the table that its sheets are rows of."""
    by_grid = [{folded(label): row for row, label in _labels(grid, number)} for grid in grids]
    written = {folded(label): label for grid in grids for _, label in _labels(grid, number)}
    shown = [label for label in written if sum(label in rows for rows in by_grid) * 2 > len(grids)]
    rows = sorted({row for each in by_grid for label, row in each.items() if label in shown})
    columns = {written[label]: _values(grids, by_grid, number + 1, label) for label in shown}
    return Sheet(
        grid=grids[0],
        header_rows=(),
        columns=columns,
        names=tuple(grid.name for grid in grids),
        labels=_letters(grids, number),
        values=_letters(grids, number + 1),
        label_rows=f"{rows[0]}-{rows[-1]}",
    )


def _letters(grids: Sequence[Grid], number: int) -> str:
    return next(column.letters for grid in grids for column in grid.columns if column.number == number)


def _values(grids: Sequence[Grid], by_grid: Sequence[dict[str, int]], number: int, label: str) -> RawColumn:
    cells = [_cell(grid, number, rows.get(label, 0)) for grid, rows in zip(grids, by_grid, strict=True)]
    return RawColumn(number=number, cells=(EMPTY, *cells), which=np.arange(1, len(cells) + 1))


def _cell(grid: Grid, number: int, row: int) -> RawCell:
    column, at = _at(grid, number), np.flatnonzero(grid.rows == row)
    return column.cells[column.which[at[0]]] if column is not None and len(at) else EMPTY


def _tables_below(grids: Sequence[Grid]) -> Iterator[Sheet]:
    """The tables below the forms, of those that have the same headings in the first of them."""
    found = [grid for grid in grids if _end(grid) < len(grid.rows)]
    if len(found) < _FEWEST_SHEETS:
        return
    grid = max(found, key=lambda each: len(each.rows) - _end(each))
    end = _end(grid)
    headings = [(column, column.cells[column.which[end]].text.strip()) for column in grid.columns]
    below = np.arange(end + 1, len(grid.rows))
    columns = {heading: column.at(below) for column, heading in headings if heading}
    yield Sheet(
        grid=grid,
        header_rows=(),
        columns=columns,
        names=tuple(each.name for each in found),
        starts=next(iter(columns)),
    )
