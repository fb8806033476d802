"""The part of a sheet that a [[sheet]] of the layout means: all of it, a block between two marks, or a form.

Which rows of it hold the headings, and which are no record.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase

import numpy as np

from necrostats.registry.export.cells import EMPTY, Grid, RawCell, RawColumn
from necrostats.registry.export.layout import HEADING_OF_A_FORM, VALUES_OF_A_FORM, SheetLayout
from necrostats.registry.text import folded

_FEWEST_REPEATED = 2


def as_laid(grid: Grid, sheet: SheetLayout) -> tuple[Grid, SheetLayout]:
    """The part of a sheet that is meant, and the layout with the row of its headings; no rows where the mark lacks.

    A form, with a label beside each value, comes as headings above one row.
    """
    if sheet.starts or sheet.ends:
        grid, sheet = _block(grid, sheet)
    return (_as_form(grid, sheet), sheet) if sheet.labels else (grid, sheet)


def _block(grid: Grid, sheet: SheetLayout) -> tuple[Grid, SheetLayout]:
    first = first_texts(grid)
    begins = _matching(first, sheet.starts)
    if sheet.starts and not len(begins):
        return _rows(grid, np.empty(0, dtype=np.int64)), sheet
    start = int(begins[0]) if len(begins) else 0
    ends = [at for at in _matching(first, sheet.ends) if at > start or not sheet.starts]
    block = _rows(grid, np.arange(start, int(ends[0]) if ends else len(grid.rows)))
    return block, replace(sheet, header_rows=(int(grid.rows[start]),)) if sheet.starts and not sheet.labels else sheet


def _matching(first: Sequence[str], patterns: Sequence[str]) -> np.ndarray:
    wanted = [folded(pattern) for pattern in patterns]
    return np.flatnonzero([any(fnmatchcase(text, each) for each in wanted) for text in first])


def first_texts(grid: Grid) -> list[str]:
    """The text, folded, of the first filled cell of each row; blank where there is none."""
    found = np.full(len(grid.rows), "", dtype=object)
    free = np.ones(len(grid.rows), dtype=bool)
    for column in grid.columns:
        filled = column.filled() & free
        texts = np.array([folded(cell.text) for cell in column.cells], dtype=object)
        found[filled] = texts[column.which[filled]]
        free &= ~filled
    return found.tolist()


def _rows(grid: Grid, at: np.ndarray) -> Grid:
    """Some rows of a sheet."""
    columns = tuple(replace(column, which=column.which[at]) for column in grid.columns)
    beside = {name: getattr(grid, name)[at] for name in ("swallowed", "widths") if len(getattr(grid, name))}
    return replace(grid, rows=grid.rows[at], columns=columns, **beside)


def _as_form(grid: Grid, sheet: SheetLayout) -> Grid:
    label, value = (_column(grid, letters) for letters in (sheet.labels, sheet.values))
    rows = np.flatnonzero(in_form(grid, sheet))
    fields = [
        RawColumn(
            number=value.number,
            cells=(EMPTY, RawCell(text=text), value.cells[value.which[at]]),
            which=np.array([1, 2]),
            hidden=value.hidden,
            row=int(grid.rows[at]),
        )
        for at in rows.tolist()
        if (text := label.cells[label.which[at]].text.strip().rstrip(" :."))
    ]
    none = np.empty(0, dtype=np.int64)
    place = np.array([HEADING_OF_A_FORM, VALUES_OF_A_FORM])
    return replace(grid, rows=place, columns=tuple(fields), merges=(), swallowed=none.astype(bool), widths=none)


def in_form(grid: Grid, sheet: SheetLayout) -> np.ndarray:
    """Rows (N,) of the sheet, or of the block of it, in which a form has its labels."""
    return np.isin(grid.rows, sheet.label_rows) if sheet.label_rows else np.ones(len(grid.rows), dtype=bool)


def _column(grid: Grid, letters: str) -> RawColumn:
    found = next((column for column in grid.columns if column.letters == letters), None)
    return found or RawColumn(number=0, cells=(EMPTY,), which=np.zeros(len(grid.rows), dtype=np.int8))


def no_record(grid: Grid, sheet: SheetLayout) -> np.ndarray:
    """Rows (N,) that are no record: those the layout names, by number or by their first text ("Mean*"), and those that
    say the headings again.
    """
    named = np.zeros(len(grid.rows), dtype=bool)
    named[_matching(first_texts(grid), sheet.skip_texts)] = True
    named |= np.isin(grid.rows, sheet.skip_rows) | _repeats_the_headings(grid, sheet.header_rows)
    return named & (grid.rows > max(sheet.header_rows))


def _repeats_the_headings(grid: Grid, header_rows: tuple[int, ...]) -> np.ndarray:
    """Rows (N,) in which every cell says what heads its column, and two or more do."""
    same, filled = np.zeros(len(grid.rows), dtype=np.int64), np.zeros(len(grid.rows), dtype=np.int64)
    for column, heading in zip(grid.columns, headings(grid, header_rows[-1:]), strict=True):
        says = np.array([bool(heading) and folded(cell.text) == folded(heading) for cell in column.cells])
        same += says[column.which]
        filled += column.filled()
    return (same >= _FEWEST_REPEATED) & (same == filled)


def headings(grid: Grid, header_rows: tuple[int, ...]) -> list[str]:
    """The heading of each column: its header rows joined by a blank, a merged heading counted for all it spans."""
    lines = [_line(grid, row) for row in header_rows]
    return [" ".join(_pieces(parts)) for parts in zip(*lines, strict=True)]


def _pieces(parts: Iterable[str]) -> Iterator[str]:
    before = ""
    for part in parts:
        bare = " ".join(part.split())
        if bare and bare != before:
            yield bare
        before = bare or before


def _line(grid: Grid, row: int) -> list[str]:
    """What stands in a row, one text a column, merged cells spread."""
    at = np.flatnonzero(grid.rows == row)
    texts = [column.cells[column.which[at[0]]].text.strip() if len(at) else "" for column in grid.columns]
    numbers = [column.number for column in grid.columns]
    for first_row, first, last_row, last in grid.merges:
        if first_row <= row <= last_row and (first_row < row or first < last):
            source = np.flatnonzero(grid.rows == first_row)
            if len(source) and first in numbers:
                corner = grid.columns[first - 1]
                text = corner.cells[corner.which[source[0]]].text.strip()
                texts = [text if first <= each <= last else own for each, own in zip(numbers, texts, strict=True)]
    return texts
