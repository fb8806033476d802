"""Mapped columns read: for each sheet, each group of rows it makes and each number, what every cell was read as.

The "8+" column: several sessions in one cell, read whole or set aside whole.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.export.cells import BLANK, DATE, NO_RESULT, RawCell, Reading, refused
from necrostats.registry.export.layout import OVERFLOW, ColumnLayout, Overflow, RowsLayout
from necrostats.registry.export.mapped_sheets import LaidColumn, LaidSheet
from necrostats.registry.export.readers import Pseudonyms, readings_of
from necrostats.registry.export.table_drafts import spread
from necrostats.registry.findings import Verdict
from necrostats.registry.quantities import is_blank
from necrostats.registry.text import folded
from necrostats.registry.tidy_cells import read_cell

Entry = Mapping[str, Reading]


def overflow_entries(
    cells: Sequence[RawCell],
    table: str,
    layouts: Sequence[ColumnLayout],
    overflow: Overflow,
    system: str,
    pseudonyms: Pseudonyms,
) -> list[list[Entry]]:
    """For each different cell, its sessions (target → reading); one entry with a problem if it cannot be read whole."""
    return [_entries(cell, table, layouts, overflow, system, pseudonyms) for cell in cells]


def _entries(
    cell: RawCell,
    table: str,
    layouts: Sequence[ColumnLayout],
    overflow: Overflow,
    system: str,
    pseudonyms: Pseudonyms,
) -> list[Entry]:
    if cell.no_result:
        return [{OVERFLOW: replace(NO_RESULT, withheld=DATE)}]
    if is_blank(cell.text):
        return []
    found = []
    for written in re.split(rf"{re.escape(overflow.between)}|[\r\n]+", cell.text):
        if not written.strip():
            continue
        pieces = [piece.strip() for piece in written.split(overflow.between_parts)]
        if len(pieces) > len(layouts):
            return _aside("holds a session with more parts than the layout names")
        pieces += [""] * (len(layouts) - len(pieces))
        entry = {
            layout.to: replace(_read(piece, table, layout, system, pseudonyms), withheld=DATE)
            for layout, piece in zip(layouts, pieces, strict=True)
        }
        if not _whole(entry, TABLES[table]):
            return _aside("holds further sessions that cannot be read whole")
        found.append(entry)
    return found or _aside("holds further sessions that cannot be read whole")


def _read(piece: str, table: str, layout: ColumnLayout, system: str, pseudonyms: Pseudonyms) -> Reading:
    if not piece:
        return BLANK
    return readings_of([RawCell(text=piece)], table, layout, system, pseudonyms)[0]


def _whole(entry: Entry, table: Table) -> bool:
    day = entry["day"].date
    return day is not None and day.exact and all(_sound(reading, table) for reading in entry.values())


def _sound(reading: Reading, table: Table) -> bool:
    columns = {column.name: column for column in table.columns if column.name in reading.fills}
    read = (read_cell(reading.fills[name], column) for name, column in columns.items())
    return not reading.problem and not any(isinstance(each, Verdict) and each.severity == "stops" for each in read)


def _aside(problem: str) -> list[Entry]:
    return [{OVERFLOW: replace(refused(problem, "OVERFLOW"), withheld=DATE)}]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Part:
    """One column of a block: `readings` of its different cells, the blank one first; `which` (N,) each row holds."""

    column: LaidColumn
    layout: ColumnLayout
    readings: tuple[Reading, ...]
    which: np.ndarray

    def mask(self, wanted) -> np.ndarray:
        """Rows (N,) whose reading is wanted."""
        return np.array([bool(wanted(each)) for each in self.readings])[self.which]

    def at(self, rows: np.ndarray) -> Part:
        """The same part, some of its rows."""
        return replace(self, which=self.which[rows])


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Block:
    """Rows to be made in one table from rows `at` (N,) of one sheet. `number` (N,) is that of a wide group, else 0."""

    sheet: LaidSheet
    rows: RowsLayout
    number: np.ndarray
    at: np.ndarray
    parts: tuple[Part, ...]

    def says_something(self) -> np.ndarray:
        """Rows (N,) with a cell that is neither blank nor unknown."""
        masks = [part.mask(lambda reading: reading.says_something) for part in self.parts]
        return np.logical_or.reduce(masks) if masks else np.zeros(len(self.at), dtype=bool)

    def between(self, first: int, end: int) -> Block:
        """The block with the rows made from rows `first` to `end` (excluded) of its sheet."""
        low, high = np.searchsorted(self.at, (first, end))
        return self if high - low == len(self.at) else self.only(np.arange(low, high))

    def only(self, rows: np.ndarray) -> Block:
        """The block with some of its rows."""
        parts = tuple(part.at(rows) for part in self.parts)
        return replace(self, at=self.at[rows], number=self.number[rows], parts=parts)


def blocks_of(sheets: Sequence[LaidSheet]) -> Iterator[Block]:
    """Every block, in the order of the layout; all rows of its sheet."""
    pseudonyms = Pseudonyms()
    for sheet in sheets:
        for rows in sheet.layout.rows:
            for number, columns in rows.each_number():
                yield _block(sheet, rows, number or 0, columns, pseudonyms)
            if rows.overflow:
                yield _overflow_block(sheet, rows, pseudonyms)


def _block(
    sheet: LaidSheet, rows: RowsLayout, number: int, columns: Sequence[ColumnLayout], pseudonyms: Pseudonyms
) -> Block:
    parts = tuple(_part(sheet, rows.table, column, pseudonyms) for column in columns)
    everything = np.arange(len(sheet))
    block = Block(sheet=sheet, rows=rows, number=np.full(len(sheet), number), at=everything, parts=parts)
    naming = next((part for part in parts if part.layout.to in ("collections", "stent")), None)
    return _a_row_each(block, naming) if naming else replace(block, parts=_one_size(block.parts))


def _part(sheet: LaidSheet, table: str, layout: ColumnLayout, pseudonyms: Pseudonyms) -> Part:
    column = sheet.column(layout.heading)
    readings = readings_of(column.raw.cells, table, layout, sheet.grid.date_system, pseudonyms)
    return Part(column=column, layout=layout, readings=readings, which=column.raw.which)


def _one_size(parts: tuple[Part, ...]) -> tuple[Part, ...]:
    several = refused("holds several sizes where one belongs")
    return tuple(
        replace(part, readings=tuple(several if each.children else each for each in part.readings))
        if part.layout.to == "size"
        else part
        for part in parts
    )


def _a_row_each(block: Block, naming: Part) -> Block:
    """A block in which a cell that names several collections, or stents, stands once for each of them."""
    counts = np.array([max(len(each.children), 1) for each in naming.readings])[naming.which]
    each = spread(counts)
    at, rank = each.row, each.rank
    parts = tuple(_ranked(part.at(at), rank, counts[at], stents=naming.layout.to == "stent") for part in block.parts)
    return replace(block, at=block.at[at], number=block.number[at], parts=parts)


def _ranked(part: Part, rank: np.ndarray, count: np.ndarray, *, stents: bool) -> Part:
    """The part in which each row of the same cell has its own share of it: the first all, unless shares are named.

    Stents of one cell share their dates and their end.
    """
    if stents and part.layout.to != "stent":
        return part
    shared = part.layout.to in ("collections", "size", "stent")
    known: dict[tuple[int, int, int], int] = {}
    readings: list[Reading] = []
    which = np.zeros(len(rank), dtype=np.int64)
    for row, key in enumerate(zip(part.which.tolist(), rank.tolist(), count.tolist(), strict=True)):
        if key not in known:
            known[key] = len(readings)
            readings.append(_share(part.readings[key[0]], key[1], key[2], shared=shared))
        which[row] = known[key]
    return replace(part, readings=tuple(readings) or (BLANK,), which=which)


def _share(reading: Reading, rank: int, count: int, *, shared: bool) -> Reading:
    if not shared or not reading.children:
        return reading if rank == 0 else BLANK
    if len(reading.children) != count:
        return refused("holds another number of sizes than there are collections") if rank == 0 else BLANK
    question = reading.question if rank == 0 else ""
    return replace(reading, fills=reading.children[rank], children=(), question=question, named=True)


def _overflow_block(sheet: LaidSheet, rows: RowsLayout, pseudonyms: Pseudonyms) -> Block:
    """The sessions of the rest column, a row each; a cell that does not read whole is one row to be set aside."""
    overflow = rows.overflow
    column = sheet.column(overflow.column)
    known = {each.heading: each for each in rows.columns}
    layouts = [_named(known, heading) for heading in overflow.parts]
    entries = overflow_entries(column.raw.cells, rows.table, layouts, overflow, sheet.grid.date_system, pseudonyms)
    counts = np.array([len(each) for each in entries])[column.raw.which]
    each = spread(counts)
    at, rank = each.row, each.rank
    start = np.cumsum([0, *(len(each) for each in entries)])[:-1]
    which = start[column.raw.which[at]] + rank + 1
    flat = [entry for cell in entries for entry in cell]
    targets = [*(layout.to for layout in layouts), OVERFLOW]
    parts = tuple(
        Part(
            column=column,
            layout=replace(layout, to=target),
            which=which,
            readings=(BLANK, *(entry.get(target, BLANK) for entry in flat)),
        )
        for target, layout in zip(targets, [*layouts, layouts[0]], strict=True)
    )
    last = max(rows.numbers, default=0) + 1
    return Block(sheet=sheet, rows=rows, number=last + rank, at=at, parts=parts)


def _named(known: dict[str, ColumnLayout], heading: str) -> ColumnLayout:
    return next(column for name, column in known.items() if folded(name) == folded(heading))
