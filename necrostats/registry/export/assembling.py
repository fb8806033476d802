"""From blocks of readings to made tables: constants, values, dates, the rows a cell makes in another table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.blocks import Block, Part
from necrostats.registry.export.cells import Reading
from necrostats.registry.export.layout import OF_THE_EVENT
from necrostats.registry.export.mapped_sheets import LaidColumn
from necrostats.registry.export.patients import People
from necrostats.registry.export.table_drafts import Days, Made, Making, Mark, Origin, Texts, joined, no_rows, spread
from necrostats.registry.source_table import objects

CHILDREN = {"instruments": "instrument_uses", "event": "adverse_events", "stents": "stents"}
REMEDIES = {
    "NOT_A_DATE": "Correct the date, or say in the layout whether the day or the month comes first.",
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
    return made, child


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
        for code in sorted({each.code for each in part.readings if getattr(each, said)}):
            texts = objects([_said(each, said, code) for each in part.readings])[part.which]
            at = np.flatnonzero(texts != "")
            yield Mark(
                rule={"problem": code, "question": "IN_DOUBT", "note": "TO_GRADE"}[said],
                at=at,
                column=part.layout.to,
                severity=severity,
                takes=takes,
                problem=texts[at],
                origin=origin.take(at),
                remedy=REMEDIES.get(code, "") if said == "problem" else _WHAT_TO_DO[said],
            )


_WHAT_TO_DO = {
    "question": "It is kept as it was read. Correct it if that is wrong.",
    "note": "Add its grade, treatment and attribution in a table of adverse events.",
}


def _said(reading: Reading, said: str, code: str) -> str:
    return getattr(reading, said) if reading.code == code else ""


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
