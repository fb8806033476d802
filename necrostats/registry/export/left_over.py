"""Cells of a sheet that is read in parts, as forms and blocks, that stand in none of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from necrostats.registry.export.cells import Grid
from necrostats.registry.export.layout import SheetLayout
from necrostats.registry.export.mapped_sheets import Laid, as_laid, in_form


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class LeftOver:
    """Places of filled cells of a sheet, such as D3: in no part, and below the end that the layout gives a part."""

    grid: Grid
    places: tuple[str, ...]
    below: int


def left_over(laid: Laid) -> Iterator[LeftOver]:
    """What each sheet that is read in parts has beside them; a title above all of them is none."""
    for grid in laid.export.grids:
        parts = [sheet for sheet, own in laid.read if own is grid]
        if parts and all(part.is_a_part for part in parts):
            yield _beside(grid, parts)


def _beside(grid: Grid, parts: Sequence[SheetLayout]) -> LeftOver:
    meant = {column.letters: np.zeros(len(grid.rows), dtype=bool) for column in grid.columns}
    ended, first = np.zeros(len(grid.rows), dtype=bool), len(grid.rows)
    for part in parts:
        rows, after = _rows_of(grid, part)
        ended |= after
        first = min([first, *np.flatnonzero(rows).tolist()])
        for letters in (part.labels, part.values) if part.labels else meant:
            if letters in meant:
                meant[letters] |= rows
    begun = np.arange(len(grid.rows)) >= (0 if first == len(grid.rows) else first)
    beside = {column.letters: column.filled() & begun & ~meant[column.letters] for column in grid.columns}
    free = np.column_stack([each & ~ended for each in beside.values()]) if beside else np.zeros((0, 0), dtype=bool)
    letters = list(beside)
    return LeftOver(
        grid=grid,
        places=tuple(f"{letters[at]}{grid.rows[row]}" for row, at in np.argwhere(free).tolist()),
        below=sum(int((each & ended).sum()) for each in beside.values()),
    )


def _rows_of(grid: Grid, part: SheetLayout) -> tuple[np.ndarray, np.ndarray]:
    """The rows (N,) that a part means, and those from its end on."""
    block, _ = as_laid(grid, replace(part, labels="", values=""))
    rows = np.isin(grid.rows, block.rows)
    after = grid.rows > block.rows.max() if part.ends and len(block.rows) else np.zeros(len(rows), dtype=bool)
    return rows & (in_form(grid, part) if part.labels else True), after
