"""The ledger: for every cell that was interpreted its place, its text, what it became and by which rule.

What cells say that gave no line of the ledger of their own: the field, the value, and what became of each.

Lines of the ledger before each has its place: columns of what is told, one for all lines or one a line.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES
from necrostats.registry.columns import LATEST
from necrostats.registry.export.assembling import Block, Part
from necrostats.registry.export.cells import PRIVATE, Reading, letters_of
from necrostats.registry.export.drafting import best_origin, cell_texts, taken_cells
from necrostats.registry.export.loading import ReadExport
from necrostats.registry.export.mapped_sheets import LaidSheet
from necrostats.registry.export.patients import RowsAside
from necrostats.registry.export.private import WITHHELD, shown
from necrostats.registry.export.table_drafts import NOWHERE, Made, Origin, Texts, spread
from necrostats.registry.source_table import objects

VALUE, UNKNOWN, SET_ASIDE = "value", "unknown", "set aside"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Said:
    """Lines (n,): the cell (its place among the N) that each is about, the field and the value."""

    row: np.ndarray
    field: np.ndarray
    value: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Told:
    """N cells of one column: the rule that read each, why it is withheld, and the lines that it says."""

    rule: np.ndarray
    withheld: np.ndarray
    lines: tuple[Said, ...]
    _outcomes: tuple[np.ndarray, np.ndarray]

    @classmethod
    def of(cls, readings: Sequence[Reading], which: np.ndarray, target: str, day_0: np.ndarray) -> Told:
        """From the readings of a column, the one of each cell, its target, and the patient's day 0 (NaN: unknown)."""
        used, which = np.unique(which, return_inverse=True)
        read = [readings[each] for each in used.tolist()]
        dated = np.array([each.date is not None and each.date.known for each in read], dtype=bool)[which]
        dated &= day_0 == day_0
        days, others = np.flatnonzero(dated), np.flatnonzero(~dated)
        return cls(
            rule=objects([each.rule for each in read])[which],
            withheld=np.array([each.withheld for each in read], dtype=np.int8)[which],
            lines=(*_days(read, which, target, day_0, days), _fills(read, which, target, others)),
            _outcomes=(_outcomes(read, gone=False)[which], _outcomes(read, gone=True)[which]),
        )

    def outcome(self, gone: np.ndarray) -> np.ndarray:
        """What became of each cell, by whether its patient (N,) was set aside."""
        return np.where(gone, self._outcomes[1], self._outcomes[0])


def _outcomes(read: Sequence[Reading], *, gone: bool) -> np.ndarray:
    return objects([_outcome(each, gone) for each in read])


def _outcome(reading: Reading, gone: bool) -> str:
    if reading.problem or (gone and reading.says_something):
        return SET_ASIDE
    return VALUE if reading.says_something else UNKNOWN


def _days(
    read: Sequence[Reading], which: np.ndarray, target: str, day_0: np.ndarray, rows: np.ndarray
) -> tuple[Said, ...]:
    """The day a date says, and a second line with the last day it can be."""
    dates = [each.date for each in read]
    first, last = (
        np.array([getattr(each, end).toordinal() if each and each.known else np.nan for each in dates])[which[rows]]
        for end in ("first", "last")
    )
    ranged = first != last
    return (
        _said(rows, target, first - day_0[rows]),
        _said(rows[ranged], target + LATEST, (last - day_0[rows])[ranged]),
    )


def _said(rows: np.ndarray, field: str, days: np.ndarray) -> Said:
    number, different = pd.factorize(days)
    texts = objects([f"{day:.0f}" for day in different])
    return Said(row=rows, field=np.full(len(rows), field, dtype=object), value=texts[number])


def _fills(read: Sequence[Reading], which: np.ndarray, target: str, rows: np.ndarray) -> Said:
    """What a cell fills; one line without a value if it fills nothing."""
    each = [list(reading.fills.items()) or [(target, "")] for reading in read]
    lengths = np.array([len(fills) for fills in each], dtype=np.int64)
    flat, start = [pair for fills in each for pair in fills], np.cumsum(lengths) - lengths
    lines = spread(lengths[which[rows]])
    place = start[which[rows]][lines.row] + lines.rank
    return Said(
        row=rows[lines.row],
        field=objects([field for field, _ in flat])[place],
        value=objects([value for _, value in flat])[place],
    )


NO_COLUMN = -1


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Lines:
    """n lines before they are placed: the column of the export (or NO_COLUMN) and the position of each one's cell, and
    what is told of it: arrays (n,), or one for all. `row`: that of the spreadsheet, 0 where the position says it."""

    number: np.ndarray
    at: np.ndarray
    outcome: np.ndarray | str = VALUE
    table: np.ndarray | str = ""
    id: np.ndarray | str = ""
    field: np.ndarray | str = ""
    value: np.ndarray | str = ""
    rule: np.ndarray | str = ""
    written: np.ndarray | str = ""
    heading: np.ndarray | str = ""
    letters: np.ndarray | int = 0
    row: np.ndarray | int = 0

    def __len__(self) -> int:
        return len(self.at)

    def column(self, name: str) -> np.ndarray:
        """One a line."""
        told = getattr(self, name)
        return told if isinstance(told, np.ndarray) else constant(told, len(self))

    @classmethod
    def joined(cls, parts: Sequence[Lines]) -> Lines:
        """Several, one below the other."""
        held = [part for part in parts if len(part)] or [_no_lines()]
        return cls(**{each.name: np.concatenate([part.column(each.name) for part in held]) for each in fields(cls)})

    def only(self, rows: np.ndarray) -> Lines:
        """Some of the lines."""
        return replace(self, **{each.name: self.column(each.name)[rows] for each in fields(self)})


def _no_lines() -> Lines:
    return Lines(number=np.empty(0, dtype=np.int64), at=np.empty(0, dtype=np.int64))


def constant(told: str | int, rows: int) -> np.ndarray:
    """The same for so many lines, taking no room."""
    return np.broadcast_to(np.array(told, dtype=object if isinstance(told, str) else np.int64), rows)


def each_once(parts: Sequence[Lines]) -> Lines:
    """The lines without those that tell the same field of the same cell again."""
    lines = Lines.joined(parts)
    cells = pd.DataFrame({name: getattr(lines, name) for name in ("number", "at", "field")})
    return lines.only(~cells.duplicated().to_numpy())


COLUMNS = (
    "file",
    "sheet",
    "row",
    "cell",
    "column",
    "written",
    "outcome",
    "table",
    "id",
    "field",
    "value",
    "rule",
)
AT_A_TIME = 10_000
_WRITTEN_ANEW = ("age_years", "index_period", "period")


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
            given=tuple(each for name in TABLES for each in _given(read, name)),
            lost=lost_patients(read),
            day_0=np.append(read.reshaped.day_0, np.nan),
            ids=np.array([*read.reshaped.making.ids, ""], dtype=object),
        )


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
        yield _Given(made=made, column=column, ids=ids, origin=origin, rows=rows, place=place[order], aside=aside[rows])


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
        return self._placed([*given, each_once(rest), *self._keys(), *self._kinds(), *self._rows_aside()])

    def _values(self, given: _Given) -> Lines:
        low, high = np.searchsorted(given.place, _place(self.sheet.number, np.array([self.first, self.end])))
        rows = given.rows[low:high]
        origin = given.origin.take(rows)
        return Lines(
            number=origin.column,
            at=origin.at,
            table=given.made.table.name,
            outcome=np.where(given.aside[low:high], SET_ASIDE, VALUE).astype(object),
            id=given.ids.take(rows).plain(),
            field=given.column,
            value=self._shown(given, rows),
            rule=origin.rule,
            written=self.read.places.values(origin),
        )

    def _shown(self, given: _Given, rows: np.ndarray) -> np.ndarray:
        """The values of a column as the tidy form has them: ages over 90 as 90, quarters in one way of writing."""
        table = self.read.draft[given.made.table.name]
        texts = given.made.text(given.column).take(rows).plain()
        if given.column not in _WRITTEN_ANEW or not table.given:
            return texts
        cells = table.cells[given.column]
        kept = cells.values[cells.which[rows]]
        if given.column == "age_years":
            return np.array([f"{age:g}" if age == age else "" for age in kept], dtype=object)
        return np.array([text if each is None else each for text, each in zip(texts, kept, strict=True)], dtype=object)

    def _rest(self, block: Block, part: Part, seen: np.ndarray) -> Iterator[Lines]:
        """The cells of a part that gave no value of their own: unknown, set aside, or the same as another cell."""
        number = [id(column) for column in self.read.reshaped.making.columns].index(id(part.column))
        low, high = np.searchsorted(block.at, (self.first, self.end))
        at = block.at[low:high]
        free = self.read.places.filled_in(number, at) & ~seen[number, at - self.first] & ~self._gone()[at - self.first]
        rows = np.flatnonzero(free)
        person = self.read.material.people.of[self.sheet.number][at[rows]]
        told = Told.of(part.readings, part.which[low:high][rows], part.layout.to, self.whole.day_0[person])
        origin = Origin(column=np.full(len(rows), number), at=at[rows], rule=told.rule, withheld=told.withheld)
        written, outcome = self.read.places.values(origin), told.outcome(self.whole.lost[person])
        for lines in told.lines:
            yield Lines(
                number=origin.column[lines.row],
                at=origin.at[lines.row],
                outcome=outcome[lines.row],
                table=block.rows.table,
                field=lines.field,
                value=lines.value,
                rule=told.rule[lines.row],
                written=written[lines.row],
            )

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
        for heading in self.sheet.layout.keys:
            raw = self.sheet.column(heading).raw
            filled = np.array([bool(cell.text.strip()) or cell.no_result for cell in raw.cells])[raw.which[here]]
            rows = np.flatnonzero(filled & ~self._gone()) + self.first
            yield Lines(
                number=np.full(len(rows), NO_COLUMN),
                at=rows,
                outcome=np.where(self.whole.lost[person[rows]], SET_ASIDE, VALUE).astype(object),
                table="patients",
                field="patient_id",
                id=self.whole.ids[person[rows]],
                value=self.whole.ids[person[rows]],
                rule="key",
                written=WITHHELD,
                letters=raw.number,
                row=raw.row,
                heading=self.sheet.column(heading).heading,
            )

    def _kinds(self) -> Iterator[Lines]:
        """The cells that say what kind of row it is, and nothing else."""
        sheet, here = self.sheet, slice(self.first, self.end)
        mapped = {sheet.key(column.heading) for rows in sheet.layout.rows for column in rows.columns}
        for key in dict.fromkeys(map(sheet.key, sheet.layout.telling)):
            column = sheet.columns[key]
            rows = np.flatnonzero(column.raw.filled()[here] & ~self._gone() & (key not in mapped)) + self.first
            written = objects(shown(cell.text.strip()) for cell in column.raw.cells)[column.raw.which[rows]]
            place = {"letters": column.raw.number, "heading": column.heading}
            none = np.full(len(rows), NO_COLUMN)
            yield Lines(number=none, at=rows, rule="kind of row", written=written, table=self._table, **place)

    @property
    def _table(self) -> str:
        return self.sheet.layout.rows[0].table

    def _rows_aside(self) -> Iterator[Lines]:
        for each, at in self._aside():
            told = {"outcome": SET_ASIDE, "rule": each.rule, "table": self._table}
            if not self.sheet.layout.labels:
                yield Lines(number=np.full(len(at), NO_COLUMN), at=at, **told)
            for column in self.sheet.columns.values() if self.sheet.layout.labels else ():
                filled = at[column.raw.filled()[at]]
                none = np.full(len(filled), NO_COLUMN)
                place = {"letters": column.raw.number, "row": column.raw.row, "heading": column.heading}
                yield Lines(number=none, at=filled, **place, **told)

    def _placed(self, parts: Sequence[Lines]) -> pd.DataFrame:
        """The lines with the places of their cells, in the order of the export."""
        lines = Lines.joined(parts)
        columns = self.read.reshaped.making.columns
        mapped = lines.number != NO_COLUMN
        headings = np.array([*(column.heading for column in columns), ""], dtype=object)[lines.number]
        letters = np.array([*(column.raw.number for column in columns), 0])[lines.number]
        letters = np.where(mapped, letters, lines.letters).astype(np.int64)
        own = np.array([*(column.raw.row for column in columns), 0])[lines.number]
        own = np.where(mapped, own, lines.row).astype(np.int64)
        row = np.where(own > 0, own, self.sheet.rows[lines.at])
        order = np.lexsort((_rank(lines.field), _rank(lines.table), letters, row))
        placed = {
            "file": constant(self.sheet.grid.file, len(row)),
            "sheet": constant(self.sheet.grid.sheet, len(row)),
            "row": row,
            "cell": _cells(letters, row),
            "column": np.where(mapped, headings, lines.heading),
            **{name: getattr(lines, name) for name in COLUMNS[5:]},
        }
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
