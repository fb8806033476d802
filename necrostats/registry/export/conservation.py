"""Nothing lost: every cell and every row of an export counted by what became of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.registry.export.about import not_mentioned
from necrostats.registry.export.cells import Grid
from necrostats.registry.export.mapped_sheets import LaidSheet
from necrostats.registry.export.readings import Reading
from necrostats.registry.export.reshaping import Material

UNTOLD, UNKNOWN, VALUE, SET_ASIDE = range(4)


@dataclass(frozen=True, kw_only=True)
class Counts:
    """Cells with anything in them, below the headings, and rows with such a cell."""

    cells: int
    interpreted: int
    unknown: int
    cells_set_aside: int
    ignored: int
    not_mentioned: int
    rows: int
    rows_made: int
    rows_set_aside: int

    @property
    def complete(self) -> bool:
        """Whether what became of them adds up to what there was."""
        told = self.interpreted + self.unknown + self.cells_set_aside + self.ignored + self.not_mentioned
        return self.cells == told and self.rows == self.rows_made + self.rows_set_aside

    def status(self, aside: int, reasons: int) -> str:
        """The line that comes first: how much was read, and how many rows were set aside for so many reasons."""
        meant = self.cells - self.ignored - self.not_mentioned
        share = 100 * (self.interpreted + self.unknown) / meant if meant else 0.0
        shown = f"{share:.0f}" if share >= 99.5 or share < 99 else f"{share:.1f}"
        gone = f"{aside:,} {'row' if aside == 1 else 'rows'} set aside"
        why = f" for {reasons} {'reason' if reasons == 1 else 'reasons'}" if aside else ""
        return f"{shown} % of the mapped cells read; {gone}{why}."

    def __str__(self) -> str:
        return (
            f"cells {self.cells:,} = interpreted {self.interpreted:,} + unknown {self.unknown:,} + set aside "
            f"{self.cells_set_aside:,} + ignored by the layout {self.ignored:,} + not mentioned "
            f"{self.not_mentioned:,}\n"
            f"rows {self.rows:,} = made into tables {self.rows_made:,} + set aside {self.rows_set_aside:,}"
        )


def counts_of(material: Material) -> Counts:
    """What became of every cell and row of the export; sheets that were not read are counted too."""
    told = dict.fromkeys((UNTOLD, UNKNOWN, VALUE, SET_ASIDE), 0)
    ignored = sum(map(_cells, material.laid.ignored))
    unmentioned = sum(map(_cells, material.laid.strangers))
    total, rows, aside = ignored + unmentioned, 0, 0
    for sheet in material.laid.sheets:
        filled = {key: column.raw.filled() for key, column in sheet.columns.items()}
        total += sum(int(each.sum()) for each in filled.values())
        gone = _gone(material, sheet)
        rows, aside = rows + len(sheet), aside + int(gone.sum())
        left = {sheet.key(heading) for heading in sheet.layout.ignore}
        strange = {id(column) for column in not_mentioned(sheet)}
        ignored += sum(int(filled[key].sum()) for key in left if key in filled)
        unmentioned += sum(int(filled[key].sum()) for key, each in sheet.columns.items() if id(each) in strange)
        for key, became in _became(material, sheet, gone).items():
            for code in told:
                told[code] += int((became[filled[key]] == code).sum())
    return Counts(
        cells=total,
        interpreted=told[VALUE],
        unknown=told[UNKNOWN],
        cells_set_aside=told[SET_ASIDE],
        ignored=ignored,
        not_mentioned=unmentioned,
        rows=rows,
        rows_made=rows - aside,
        rows_set_aside=aside,
    )


def _cells(grid: Grid) -> int:
    return sum(int(column.filled().sum()) for column in grid.columns)


def _gone(material: Material, sheet: LaidSheet) -> np.ndarray:
    gone = np.zeros(len(sheet), dtype=bool)
    for each in material.aside:
        if each.sheet is sheet:
            gone[each.at] = True
    return gone


def _became(material: Material, sheet: LaidSheet, gone: np.ndarray) -> dict[str, np.ndarray]:
    """For each column that is mapped or a key, what became (N,) of its cells."""
    keys = {id(column): key for key, column in sheet.columns.items()}
    became = {sheet.key(heading): np.full(len(sheet), VALUE, dtype=np.int8) for heading in sheet.layout.keys}
    for block in material.blocks:
        for part in block.parts if block.sheet is sheet else ():
            codes = np.array([_code(each) for each in part.readings], dtype=np.int8)
            own = became.setdefault(keys[id(part.column)], np.full(len(sheet), UNTOLD, dtype=np.int8))
            np.maximum.at(own, block.at, codes[part.which])
    for key, column in sheet.columns.items():
        if key in became:
            untold = (became[key] == UNTOLD) & column.raw.filled()
            became[key][untold] = UNKNOWN if _in_overflow(sheet, key) else UNTOLD
            became[key][gone] = SET_ASIDE
    return became


def _code(reading: Reading) -> int:
    return SET_ASIDE if reading.problem else VALUE if reading.says_something else UNKNOWN


def _in_overflow(sheet: LaidSheet, key: str) -> bool:
    """An overflow cell that holds no further session is unknown, and makes no row that could say so."""
    return any(rows.overflow and sheet.key(rows.overflow.column) == key for rows in sheet.layout.rows)
