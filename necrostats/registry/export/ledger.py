"""The ledger: for every cell that was interpreted its place, its text, what it became and by which rule."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.blocks import Block, Part
from necrostats.registry.export.drafting import taken_cells
from necrostats.registry.export.early import RowsAside
from necrostats.registry.export.filling import cell_texts
from necrostats.registry.export.laying import LaidSheet
from necrostats.registry.export.ledger_lines import NO_COLUMN, Lines, constant, each_once
from necrostats.registry.export.loading import ReadExport
from necrostats.registry.export.made import NOWHERE, Made, Origin
from necrostats.registry.export.names import letters_of
from necrostats.registry.export.readings import PRIVATE
from necrostats.registry.export.relocating import best_origin
from necrostats.registry.export.telling import SET_ASIDE, VALUE, Told
from necrostats.registry.export.texts import Texts
from necrostats.registry.export.withholding import WITHHELD

COLUMNS = (
    "file", "sheet", "row", "cell", "column", "written", "outcome", "table", "id", "field", "value", "rule",
)  # fmt: skip
AT_A_TIME = 10_000


def ledger_of(read: ReadExport) -> pd.DataFrame:
    """One line for each value that a cell gave; a cell that gave none has one line that says why. In sheet order.

    Dates, and the cells that say who a row is about, are withheld.
    """
    parts = [part for sheet in read.material.laid.sheets for part in ledger_parts(read, sheet)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=list(COLUMNS))


def ledger_parts(read: ReadExport, sheet: LaidSheet, at_a_time: int = AT_A_TIME) -> Iterator[pd.DataFrame]:
    """The ledger of a sheet in parts, each of at most so many of its rows: one below the other they are the whole."""
    whole = _Whole.of(read)
    start, end = read.reshaped.stretch.rows_of(sheet.number)
    for first in range(start, end, at_a_time):
        yield _Piece(read=read, whole=whole, sheet=sheet, first=first, end=min(first + at_a_time, end)).lines()


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Given:
    """The rows of a made table, in the order of the export's cells, that a cell gave a value of one column.

    `place` (n,) is the sheet and position of each cell as one number, `aside` (n,) whether the value was set aside.
    """

    made: Made
    column: str
    ids: Texts
    origin: Origin
    rows: np.ndarray
    place: np.ndarray
    aside: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Whole:
    """What all parts of a ledger share."""

    given: tuple[_Given, ...]
    lost: np.ndarray
    day_0: np.ndarray
    ids: np.ndarray

    @classmethod
    def of(cls, read: ReadExport) -> _Whole:
        return cls(
            given=tuple(each for name in TABLES for each in _given(read, name)), lost=lost_patients(read),
            day_0=np.append(read.reshaped.day_0, np.nan),
            ids=np.array([*read.reshaped.making.ids, ""], dtype=object),
        )  # fmt: skip


def _place(sheet: np.ndarray | int, at: np.ndarray | int):
    """One number for each row of each sheet."""
    return sheet * (1 << 32) + at


def _given(read: ReadExport, name: str) -> Iterator[_Given]:
    making = read.reshaped.making
    made, table = making.tables[name], read.draft[name]
    gone = table.gone if table.given else np.zeros(len(made), dtype=bool)
    ids = made.text(TABLES[name].key or ("patient_id" if "patient_id" in TABLES[name].names else "session_id"))
    sheets = np.array([*(column.sheet for column in making.columns), 0], dtype=np.int64)
    known = {each.name for each in TABLES[name].all_columns}
    for column in (each for each in made.texts if each in known):
        origin = best_origin(made, column)
        rows = np.flatnonzero(made.text(column).filled & read.places.filled(origin))
        if not len(rows):
            continue
        aside = gone.copy()
        for taken, at in taken_cells(read.draft, name):
            if taken == column:
                aside[at] = True
        place = _place(sheets[origin.column[rows]], origin.at[rows].astype(np.int64))
        order = np.argsort(place, kind="stable")
        rows = rows[order].astype(np.int32)
        yield _Given(
            made=made, column=column, ids=ids, origin=origin, rows=rows, place=place[order], aside=aside[rows]
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Piece:
    """The rows `first` to `end` (excluded) of one sheet."""

    read: ReadExport
    whole: _Whole
    sheet: LaidSheet
    first: int
    end: int

    def lines(self) -> pd.DataFrame:
        """Their part of the ledger."""
        given = [self._values(each) for each in self.whole.given]
        told = np.zeros((len(self.read.reshaped.making.columns), self.end - self.first), dtype=bool)
        for each in given:
            told[each.number, each.at - self.first] = True
        blocks = [block for block in self.read.reshaped.blocks if block.sheet is self.sheet]
        rest = [each for block in blocks for part in block.parts for each in self._rest(block, part, told)]
        return self._placed([*given, each_once(rest), *self._keys(), *self._rows_aside()])

    def _values(self, given: _Given) -> Lines:
        low, high = np.searchsorted(given.place, _place(self.sheet.number, np.array([self.first, self.end])))
        rows = given.rows[low:high]
        origin = given.origin.take(rows)
        return Lines(
            number=origin.column, at=origin.at, table=given.made.table.name,
            outcome=np.where(given.aside[low:high], SET_ASIDE, VALUE).astype(object),
            id=given.ids.take(rows).plain(), field=given.column,
            value=self._shown(given, rows), rule=origin.rule, written=self.read.places.values(origin),
        )  # fmt: skip

    def _shown(self, given: _Given, rows: np.ndarray) -> np.ndarray:
        """The values of a column as the tidy form has them; ages over 90 as 90."""
        table = self.read.draft[given.made.table.name]
        if given.column == "age_years" and table.given:
            cells = table.cells[given.column]
            kept = cells.values[cells.which[rows]]
            return np.array([f"{age:g}" if age == age else "" for age in kept], dtype=object)
        return given.made.text(given.column).take(rows).plain()

    def _rest(self, block: Block, part: Part, seen: np.ndarray) -> Iterator[Lines]:
        """The cells of a part that gave no value of their own: unknown, set aside, or the same as another cell."""
        number = [id(column) for column in self.read.reshaped.making.columns].index(id(part.column))
        low, high = np.searchsorted(block.at, (self.first, self.end))
        at = block.at[low:high]
        free = self.read.places.filled_in(number, at) & ~seen[number, at - self.first] & ~self._gone()[at - self.first]
        rows = np.flatnonzero(free)
        person = self.read.material.people.of[self.sheet.number][at[rows]]
        told = Told.of(part.readings, part.which[low:high][rows], part.layout.to, self.whole.day_0[person])
        origin = Origin(
            column=np.full(len(rows), number), at=at[rows], rule=told.rule, withheld=told.withheld
        )  # fmt: skip
        written, outcome = self.read.places.values(origin), told.outcome(self.whole.lost[person])
        for lines in told.lines:
            yield Lines(
                number=origin.column[lines.row], at=origin.at[lines.row], outcome=outcome[lines.row],
                table=block.rows.table, field=lines.field, value=lines.value, rule=told.rule[lines.row],
                written=written[lines.row],
            )  # fmt: skip

    def _aside(self) -> Iterator[tuple[RowsAside, np.ndarray]]:
        for each in self.read.material.aside:
            if each.sheet is self.sheet:
                yield each, each.at[(each.at >= self.first) & (each.at < self.end)]

    def _gone(self) -> np.ndarray:
        gone = np.zeros(self.end - self.first, dtype=bool)
        for _, at in self._aside():
            gone[at - self.first] = True
        return gone

    def _keys(self) -> Iterator[Lines]:
        """The cells that say who a row is about."""
        person = self.read.material.people.of[self.sheet.number]
        here = slice(self.first, self.end)
        for heading in self.sheet.layout.patient:
            raw = self.sheet.column(heading).raw
            filled = np.array([bool(cell.text.strip()) or cell.no_result for cell in raw.cells])[raw.which[here]]
            rows = np.flatnonzero(filled & ~self._gone()) + self.first
            yield Lines(
                number=np.full(len(rows), NO_COLUMN), at=rows, table="patients", field="patient_id",
                id=self.whole.ids[person[rows]], value=self.whole.ids[person[rows]], rule="key",
                written=WITHHELD, letters=raw.number, heading=self.sheet.column(heading).heading,
            )  # fmt: skip

    def _rows_aside(self) -> Iterator[Lines]:
        table = self.sheet.layout.rows[0].table
        for each, at in self._aside():
            yield Lines(number=np.full(len(at), NO_COLUMN), at=at, outcome=SET_ASIDE, rule=each.rule, table=table)

    def _placed(self, parts: Sequence[Lines]) -> pd.DataFrame:
        """The lines with the places of their cells, in the order of the export."""
        lines = Lines.joined(parts)
        columns = self.read.reshaped.making.columns
        mapped = lines.number != NO_COLUMN
        headings = np.array([*(column.heading for column in columns), ""], dtype=object)[lines.number]
        letters = np.array([*(column.raw.number for column in columns), 0])[lines.number]
        letters = np.where(mapped, letters, lines.letters).astype(np.int64)
        row = self.sheet.rows[lines.at]
        order = np.lexsort((_rank(lines.field), _rank(lines.table), letters, row))
        placed = {
            "file": constant(self.sheet.grid.file, len(row)), "sheet": constant(self.sheet.grid.sheet, len(row)),
            "row": row, "cell": _cells(letters, row), "column": np.where(mapped, headings, lines.heading),
            **{name: getattr(lines, name) for name in COLUMNS[5:]},
        }  # fmt: skip
        return pd.DataFrame({name: placed[name][order] for name in COLUMNS}, copy=False)


def _rank(texts: np.ndarray) -> np.ndarray:
    return pd.factorize(texts, sort=True)[0]


def _cells(letters: np.ndarray, row: np.ndarray) -> np.ndarray:
    """The name (N,) of each cell, such as B5; blank where a line is about a whole row."""
    which, different = pd.factorize(letters)
    names = np.array([letters_of(int(each)) if each else "" for each in different], dtype=object)[which]
    place, rows = pd.factorize(row)
    numbers = rows.astype(str).astype(object)[place]
    return np.where(letters > 0, names + numbers, "") if len(row) else numbers


def lost_patients(read: ReadExport) -> np.ndarray:
    """Which patients (P + 1,) were set aside, or have no row of their own; the last stands for nobody."""
    lost = np.ones(len(read.reshaped.making.ids) + 1, dtype=bool)
    lost[read.reshaped.making.tables["patients"].person[read.draft["patients"].kept]] = False
    return lost


def private_texts(read: ReadExport) -> set[str]:
    """Every cell that must be shown nowhere: for tests, and for a last look before something is written."""
    found: set[str] = set()
    for made in read.reshaped.making.tables.values():
        for origin in made.origins.values():
            rows = np.flatnonzero((origin.column != NOWHERE) & (origin.withheld == PRIVATE))
            found |= set(cell_texts(read.reshaped.making, origin.take(rows)))
    return found - {""}
