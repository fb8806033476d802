"""From cells as written to typed columns, by the codebook; each different text is read once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import (
    Cells,
    Draft,
    DraftTable,
    Flag,
    applied,
    blank_cells,
    heading,
    is_numeric,
    nothing_drafted,
)
from necrostats.registry.findings import NO_RESULT, Verdict
from necrostats.registry.reading import RawSource
from necrostats.registry.source_table import RawTable, Written, smallest
from necrostats.registry.tidy_cells import are_plain_ids, read_cell


@dataclass(frozen=True, kw_only=True, eq=False)
class _Read:
    """A column read, and the verdicts on some of its texts (number of the text → verdict)."""

    column: Column
    written: Written
    cells: Cells
    verdicts: dict[int, Verdict]


def interpreted(source: RawSource) -> Draft:
    """A Draft of all nine tables: every row read, every cell a value or set aside with a finding."""
    draft, plain = Draft(tables={name: nothing_drafted(name) for name in TABLES}), _PlainIds()
    for name, raw in source.tables.items():
        columns = {column.name: (column, heading(raw, column.name)) for column in TABLES[name].all_columns}
        reads = {
            name: plain.read(raw.columns[head], column) or _read(raw.columns[head], column, raw.place.decimal_comma)
            for name, (column, head) in columns.items()
            if head
        }
        draft = replace(draft, tables={**draft.tables, name: _drafted(raw, reads)})
        draft = applied(draft, _about_rows(raw))
        for read in reads.values():
            draft = applied(draft, _flags(raw, read))
    return draft


def _drafted(raw: RawTable, reads: dict[str, _Read]) -> DraftTable:
    table = TABLES[raw.place.table]
    cells = {
        column.name: reads[column.name].cells if column.name in reads else blank_cells(column.kind, len(raw))
        for column in table.all_columns
    }
    return DraftTable(table=table, cells=cells, gone=np.zeros(len(raw), dtype=bool), raw=raw)


def _about_rows(raw: RawTable) -> Iterator[Flag]:
    yield Flag(
        rule="LONG_ROW",
        table=raw.place.table,
        at=raw.long,
        severity="stops",
        takes="row",
        problem="this row has more or fewer cells than the header, so its cells cannot be told apart",
        remedy="If a cell holds a separator, put that cell in quotation marks; if one is missing, put it in.",
    )
    yield Flag(
        rule="STRAY_QUOTE",
        table=raw.place.table,
        at=raw.swallowed,
        severity="stops",
        takes="row",
        problem="one cell of this row holds what looks like several rows",
        remedy='A quotation mark is probably never closed: close it, or write it twice ("").',
    )


class _PlainIds:
    """Reads columns of ids that need no reading; columns that share their texts share their values."""

    def __init__(self) -> None:
        self._values: dict[int, np.ndarray | None] = {}

    def read(self, written: Written, column: Column) -> _Read | None:
        """The column, its texts taken as they are; None if it does not hold plain ids only."""
        values = self._values_of(written.texts) if column.kind == "id" else None
        if values is None:
            return None
        cells = Cells(values=values, which=smallest(written.which))
        return _Read(column=column, written=written, verdicts={}, cells=cells)

    def _values_of(self, texts: np.ndarray) -> np.ndarray | None:
        if id(texts) not in self._values:
            plain = are_plain_ids(texts[1:])
            self._values[id(texts)] = np.append(np.array([None], dtype=object), texts[1:]) if plain else None
        return self._values[id(texts)]


def _read(written: Written, column: Column, decimal_comma: bool) -> _Read:
    found = [read_cell(text, column, decimal_comma) for text in written.texts]
    verdicts = {number: value for number, value in enumerate(found) if isinstance(value, Verdict)}
    for number, verdict in verdicts.items():
        found[number] = verdict.value
    values = np.array(found, dtype=np.float64 if is_numeric(column.kind) else object)
    cells = _each_once(values) if column.kind == "id" else _blank_first(values)
    return _Read(
        column=column, written=written, verdicts=verdicts, cells=replace(cells, which=cells.which[written.which])
    )


def _blank_first(values: np.ndarray) -> Cells:
    """The values of the different texts, every unknown one led to the first, which is blank."""
    return Cells(values=values, which=smallest(np.where(pd.isna(values), 0, np.arange(len(values)))))


def _each_once(values: np.ndarray) -> Cells:
    """As `_blank_first`, and ids that differ only in case or blanks at their ends are made one value."""
    which, different = pd.factorize(values)
    return Cells(values=np.insert(different, 0, None), which=smallest(which + 1))


def _flags(raw: RawTable, read: _Read) -> Iterator[Flag]:
    def kind(number: int) -> tuple[str, ...]:
        verdict = read.verdicts[number]
        return verdict.severity, verdict.rule, verdict.remedy, str(verdict.withheld)

    for _, numbers in groupby(sorted(read.verdicts, key=kind), key=kind):
        yield _flag(raw, read, list(numbers))
    formulas = raw.formulas.get(heading(raw, read.column.name))
    if formulas is not None:
        yield _of(NO_RESULT, raw, read.column, formulas, NO_RESULT.problem)


def _flag(raw: RawTable, read: _Read, numbers: list[int]) -> Flag:
    """One flag for the texts of one kind of verdict; only what is said of them may differ."""
    problems = np.full(len(read.written.texts), "", dtype=object)
    for number in numbers:
        problems[number] = read.verdicts[number].problem
    at = np.flatnonzero((problems != "")[read.written.which])
    return _of(read.verdicts[numbers[0]], raw, read.column, at, problems[read.written.which[at]])


def _of(verdict: Verdict, raw: RawTable, column: Column, at: np.ndarray, problem: str | np.ndarray) -> Flag:
    once = verdict.rule == "DECIMAL_COMMA"
    return Flag(
        rule=verdict.rule,
        table=raw.place.table,
        at=at,
        severity=verdict.severity,
        column=column.name,
        takes="cell" if verdict.severity == "stops" else "",
        problem=verdict.problem if once else problem,
        remedy=verdict.remedy,
        value="" if verdict.withheld or once else None,
        once=once,
    )
