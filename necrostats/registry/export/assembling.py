"""From blocks of readings to made tables: constants, values, dates, the rows a cell makes in another table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import BLANK, Reading, refused
from necrostats.registry.export.layout import OF_THE_EVENT, OVERFLOW, ColumnLayout, RowsLayout
from necrostats.registry.export.mapped_sheets import LaidColumn, LaidSheet
from necrostats.registry.export.overflow_cells import overflow_entries
from necrostats.registry.export.patients import People, own_keys
from necrostats.registry.export.readers import Pseudonyms, readings_of
from necrostats.registry.export.table_drafts import Days, Made, Making, Mark, Origin, Texts, joined, no_rows, spread
from necrostats.registry.source_table import objects
from necrostats.registry.text import folded


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
    called = frozenset(key for sheet in sheets for key in own_keys(sheet, "collections", "collection")) - {""}
    for sheet in sheets:
        for rows in sheet.layout.rows:
            for number, columns in rows.each_number():
                knowing = [replace(column, own_ids=called, unit_beside=rows.holds("yield_unit")) for column in columns]
                yield _block(sheet, rows, number or 0, knowing, pseudonyms)
            if rows.overflow:
                yield _overflow_block(sheet, rows, pseudonyms)


def _block(
    sheet: LaidSheet, rows: RowsLayout, number: int, columns: Sequence[ColumnLayout], pseudonyms: Pseudonyms
) -> Block:
    parts = tuple(_part(sheet, rows.table, column, pseudonyms) for column in columns)
    everything = np.arange(len(sheet))
    block = Block(sheet=sheet, rows=rows, number=np.full(len(sheet), number), at=everything, parts=parts)
    naming = next((part for part in parts if part.layout.to in ("collections", "stent")), None)
    return _a_row_each(block, naming) if naming else replace(block, parts=_units_of_amounts(_one_size(block.parts)))


_NO_AMOUNT = Reading(rule="no amount beside it")


def _units_of_amounts(parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """The parts in which a unit with a column of its own stands only beside an amount that was read."""
    amounts = next((part for part in parts if part.layout.to == "yield"), None)
    if amounts is None:
        return parts
    without = ~amounts.mask(lambda reading: bool(reading.fills.keys() & {"yield_low", "yield_high"}))
    return tuple(
        replace(part, readings=(*part.readings, _NO_AMOUNT), which=np.where(without, len(part.readings), part.which))
        if part.layout.to == "yield_unit"
        else part
        for part in parts
    )


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


CHILDREN = {"instruments": "instrument_uses", "event": "adverse_events", "stents": "stents"}
REMEDIES = {
    "NOT_A_DATE": "Correct the date.",
    "NOT_READ": "Write it in a plain form, or add its words to the layout. Nothing is guessed.",
    "NO_RESULT": "Let the workbook calculate and save it again, or write the value itself into the cell.",
    "OVERFLOW": "Give each session columns of its own, or separate them as the layout says. Until then the patient's "
    "sessions are counted as at least those known.",
    "CALENDAR_DATE": "Take the date out of the text.",
}


def assembled(blocks: Sequence[Block], usable: Mapping[int, np.ndarray], people: People) -> Making:
    """Every table made of the usable rows of each sheet (sheet number → mask), patients not yet merged."""
    columns = _columns(blocks)
    makers = list(dict.fromkeys(id(block.rows) for block in blocks))
    parts: dict[str, list[Made]] = {name: [no_rows(name)] for name in TABLES}
    sessions = 0
    for block in blocks:
        keep = np.flatnonzero(usable[block.sheet.number][block.at] & block.says_something())
        table = block.rows.table
        made = _made(block.only(keep), people, makers.index(id(block.rows)), columns)
        if table == "sessions":
            for part in block.only(keep).parts:
                if part.layout.to in CHILDREN:
                    child = _children(made, part, sessions, columns)
                    if part.layout.to == "event":
                        made, child = _with_event(made, child, child.parent - sessions, block.only(keep).parts, columns)
                    parts[CHILDREN[part.layout.to]].append(child)
            sessions += len(made)
        parts[table].append(made)
    return Making(
        tables={name: joined(each) for name, each in parts.items()}, ids=people.ids, columns=tuple(columns.values())
    )


def _columns(blocks: Sequence[Block]) -> dict[int, LaidColumn]:
    return {id(part.column): part.column for block in blocks for part in block.parts}


def number_of(columns: Mapping[int, LaidColumn], column: LaidColumn) -> int:
    """The number of a column among those that origins name."""
    return list(columns).index(id(column))


def _made(block: Block, people: People, maker: int, columns: Mapping[int, LaidColumn]) -> Made:
    rows = len(block.at)
    made = Made(
        table=TABLES[block.rows.table],
        person=people.of[block.sheet.number][block.at],
        maker=np.full(rows, maker),
        number=block.number,
        sheet=np.full(rows, block.sheet.number),
        at=block.at,
        parent=np.full(rows, -1),
        texts={name: Texts.everywhere(value, rows) for name, value in block.rows.constants.items()},
    )
    for part in block.parts if block.rows.table != "sessions" else _of_the_session(block.parts):
        made = _with_part(made, part, number_of(columns, part.column))
    return made


def _of_the_session(parts: Sequence[Part]) -> list[Part]:
    return [part for part in parts if not part.layout.to.startswith(OF_THE_EVENT)]


def _with_event(
    made: Made, child: Made, parent: np.ndarray, parts: Sequence[Part], columns: Mapping[int, LaidColumn]
) -> tuple[Made, Made]:
    """The events with what other cells of their sessions say of them; a cell that has no event beside it is told."""
    without = np.ones(len(made), dtype=bool)
    without[parent] = False
    for part in (each for each in parts if each.layout.to.startswith(OF_THE_EVENT)):
        number, name = number_of(columns, part.column), part.layout.to.removeprefix(OF_THE_EVENT)
        child = _with_part(child, replace(part.at(parent), layout=replace(part.layout, to=name)), number)
        alone = np.flatnonzero(without & part.mask(lambda reading: bool(reading.fills)))
        made = made.with_marks(_no_event_beside(part.layout.to, alone, origin_of(part, made.at, number).take(alone)))
    return _to_grade(made, child, parent), child


_GRADES = ("agree_grade", "asge_severity", "clavien_grade")


def _to_grade(made: Made, child: Made, parent: np.ndarray) -> Made:
    """The sessions with a note on each event that no cell beside it grades."""
    graded, told = (np.zeros(len(made), dtype=bool) for _ in range(2))
    for name in child.texts:
        if name in _GRADES:
            graded[parent[child.text(name).filled]] = True
        elif name != "event_type":
            told[parent[child.text(name).filled]] = True
    return replace(made, marks=tuple(_without_the_graded(mark, graded, told) for mark in made.marks))


def _without_the_graded(mark: Mark, graded: np.ndarray, told: np.ndarray) -> Mark:
    if mark.rule != TO_GRADE:
        return mark
    kept = np.flatnonzero(~graded[mark.at])
    said = np.where(told[mark.at], "was read to an event without a grade", mark.problem)
    return replace(mark, at=mark.at[kept], origin=mark.origin.take(kept), problem=said[kept])


def _no_event_beside(target: str, at: np.ndarray, origin: Origin) -> Mark:
    return Mark(
        rule="NO_EVENT_BESIDE",
        at=at,
        column=target,
        severity="asks",
        origin=origin,
        problem="tells of an event, and no event is named beside it",
        remedy="Name the event, or take this away. It counts for nothing until then.",
    )


def origin_of(part: Part, at: np.ndarray, number: int) -> Origin:
    """The origin (N,) of the cells of a part."""
    rules, hidden = objects([each.rule for each in part.readings]), [each.withheld for each in part.readings]
    return Origin(
        column=np.full(len(at), number, dtype=np.int32),
        at=at.astype(np.int32),
        rule=rules[part.which],
        withheld=np.array(hidden, dtype=np.int8)[part.which],
    )


def _with_part(made: Made, part: Part, number: int) -> Made:
    origin = origin_of(part, made.at, number)
    made = replace(made, origins={**made.origins, part.layout.to: origin})
    if any(each.date for each in part.readings):
        made = replace(made, days={**made.days, part.layout.to: _dates(part)})
    for name in dict.fromkeys(name for each in part.readings for name in each.fills):
        made = _filled(made, part, name, origin)
    return made.with_marks(*_marks(part, origin))


def _dates(part: Part) -> Days:
    first = [np.nan if each.date is None else each.date.first.toordinal() for each in part.readings]
    last = [np.nan if each.date is None else each.date.last.toordinal() for each in part.readings]
    return Days(first=np.array(first, dtype=float)[part.which], last=np.array(last, dtype=float)[part.which])


def _filled(made: Made, part: Part, name: str, origin: Origin) -> Made:
    texts = Texts.chosen([each.fills.get(name, "") for each in part.readings], part.which)
    before = made.text(name)
    differ = np.flatnonzero(before.differs(texts))
    write = np.flatnonzero(~before.filled & texts.filled)
    if before.filled.any() or name in made.origins:
        made = made.with_text(name, write, texts.take(write))
        own = made.origin(name).put(write, origin.take(write))
    else:
        made, own = made.with_all(name, texts), origin.only(texts.filled)
    made = replace(made, origins={**made.origins, name: own})
    return made.with_marks(conflict(name, differ, origin.take(differ)))


def conflict(column: str, at: np.ndarray, origin: Origin, takes: str = "cell") -> Mark:
    """Two cells that give one row different values."""
    return Mark(
        rule="CONFLICT",
        at=at,
        column=column,
        severity="stops",
        takes=takes,
        origin=origin,
        problem=f"gives another {column} than a second cell for the same thing, so neither counts",
        remedy="Correct one of the cells.",
    )


def _marks(part: Part, origin: Origin) -> Iterator[Mark]:
    for said, severity, takes in (("problem", "stops", "cell"), ("question", "asks", ""), ("note", "notes", "")):
        for code, remedy in sorted({(each.code, each.remedy) for each in part.readings if getattr(each, said)}):
            texts = objects([_said(each, said, code, remedy) for each in part.readings])[part.which]
            at = np.flatnonzero(texts != "")
            yield Mark(
                rule={"problem": code, "question": "IN_DOUBT", "note": _NOTES.get(code, TO_GRADE)}[said],
                at=at,
                column=part.layout.to,
                severity=severity,
                takes=takes,
                problem=texts[at],
                origin=origin.take(at),
                remedy=(remedy or REMEDIES.get(code, "")) if said == "problem" else _what_to_do(said, code),
            )


TO_GRADE = "TO_GRADE"
_NOTES = {"DAY_UNKNOWN": "DAY_UNKNOWN"}


def _what_to_do(said: str, code: str) -> str:
    if said == "question":
        return "It is kept as it was read. Correct it if that is wrong."
    if code in _NOTES:
        return "Write the day, if it is known."
    return "Add its grade, treatment and attribution in a table of adverse events."


def _said(reading: Reading, said: str, code: str, remedy: str) -> str:
    return getattr(reading, said) if (reading.code, reading.remedy) == (code, remedy) else ""


def _children(made: Made, part: Part, first: int, columns: Mapping[int, LaidColumn]) -> Made:
    """The rows that the cells of a part make in another table; `first` is the number of the block's first session."""
    counts = np.array([len(reading.children) for reading in part.readings])[part.which]
    each = spread(counts)
    parent = each.row
    start = np.cumsum([0, *(len(reading.children) for reading in part.readings)])[:-1]
    which = start[part.which[parent]] + each.rank
    flat = [child for reading in part.readings for child in reading.children]
    origin = origin_of(part.at(parent), made.at[parent], number_of(columns, part.column))
    names = dict.fromkeys(name for child in flat for name in child)
    own = {name: Texts.chosen([child.get(name, "") for child in flat], which) for name in names}
    return replace(
        made,
        table=TABLES[CHILDREN[part.layout.to]],
        person=made.person[parent],
        maker=made.maker[parent],
        number=made.number[parent],
        sheet=made.sheet[parent],
        at=made.at[parent],
        parent=parent + first,
        texts=own,
        days={},
        origins=dict.fromkeys(names, origin),
        marks=(),
    )
