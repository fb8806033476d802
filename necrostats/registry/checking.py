"""From cells as written to a Draft: each read by the kind of its column, and the rules of the codebook checked."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np
import pandas as pd

from necrostats.registry import checking_days, checking_events, checking_ids, checking_values
from necrostats.registry.codebook import TABLES, Column, Table
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
from necrostats.registry.findings import NO_RESULT, Verdict, findings_frame
from necrostats.registry.reading import RawSource
from necrostats.registry.source_table import RawTable, Written, smallest
from necrostats.registry.text import as_code, hint
from necrostats.registry.tidy_cells import are_plain_ids, read_cell

RELATED = {
    "instrument_uses": "which instruments were used",
    "stents": "stents",
    "scans": "scans after baseline, so no resolution can be seen",
    "reviews": "symptoms, so no resolution can be confirmed",
    "adverse_events": "adverse events; it does not mean there were none",
    "other_interventions": "drains and surgery; it does not mean there were none",
}


def about_source(source: RawSource) -> list[pd.DataFrame]:
    """Findings about whole files, sheets and columns."""
    return [*_missing_tables(source), *_strangers(source), *_columns(source), *_workbook(source), *_encodings(source)]


def without_required_columns(draft: Draft) -> Iterator[Flag]:
    """A table that lacks a column it cannot do without is set aside whole."""
    for name, table in draft.tables.items():
        lacking = _lacking(table.raw, table.table) if table.given else []
        if lacking:
            yield Flag(
                rule="COLUMN_MISSING",
                table=name,
                at=np.flatnonzero(table.kept),
                severity="notes",
                takes="row",
                once=True,
                problem=f"every row was set aside for want of {', '.join(lacking)}",
            )


def required_missing(source: RawSource) -> bool:
    """Whether a table no registry can do without is absent or lacks a required column."""
    return any(
        name not in source.tables or _lacking(source.tables[name], table)
        for name, table in TABLES.items()
        if table.required
    )


def _lacking(raw: RawTable, table: Table) -> list[str]:
    return [column.name for column in table.required_columns if not heading(raw, column.name)]


def _missing_tables(source: RawSource) -> Iterator[pd.DataFrame]:
    for name, table in TABLES.items():
        if name not in source.tables:
            yield findings_frame(
                row=[pd.NA],
                severity="stops" if table.required else "asks",
                scope="table",
                rule="TABLE_MISSING",
                table=name,
                file=source.name,
                problem=f"there is no table {name}"
                + ("" if table.required else f": nothing is known about {RELATED[name]}"),
                remedy="Add the table. If it truly has no rows, add it with its header alone.",
            )


def _strangers(source: RawSource) -> Iterator[pd.DataFrame]:
    for stranger in source.strangers:
        near = hint(stranger.rsplit(".", 1)[0], TABLES, key=as_code)
        yield findings_frame(
            row=[pd.NA],
            severity="asks",
            scope="table",
            rule="NOT_A_TABLE",
            file=source.name,
            value=stranger,
            problem=f"is none of the nine tables and was not read{near}",
            remedy="Rename it after a table, or take it away.",
        )


def _columns(source: RawSource) -> Iterator[pd.DataFrame]:
    for name, raw in source.tables.items():
        table = TABLES[name]
        known = [column.name for column in table.all_columns]
        lacking = _lacking(raw, table)
        if not any(as_code(head) in known for head in raw.columns):
            yield _about(
                raw,
                "stops",
                "NO_HEADER",
                "row 1 names no column of this table",
                remedy=f"Row 1 must hold the names of the columns: {', '.join(table.names)}.",
            )
            continue
        for column in lacking:
            yield _about(
                raw,
                "stops",
                "COLUMN_MISSING",
                f'there is no column "{column}", which is required',
                remedy="Add the column, or correct its heading.",
                scope="table",
            )
        for head in raw.columns:
            if as_code(head) not in known:
                yield _about(
                    raw,
                    "asks",
                    "UNKNOWN_COLUMN",
                    f"is no column of this table and was not read{hint(head, known, key=as_code)}",
                    value=head,
                    remedy="Correct the heading, or take the column away.",
                )
        for number in raw.unnamed:
            yield _about(
                raw,
                "asks",
                "UNNAMED_COLUMN",
                f"column {number} holds something but has no heading; it was not read",
                remedy="Give it a heading, or take it away.",
            )


def _about(raw: RawTable, severity: str, rule: str, problem: str, *, remedy: str, value: str = "", scope="table"):
    place = raw.place
    return findings_frame(
        row=[pd.NA],
        severity=severity,
        scope=scope,
        rule=rule,
        table=place.table,
        file=place.file,
        sheet=place.sheet,
        value=value,
        problem=problem,
        remedy=remedy,
    )


def _encodings(source: RawSource) -> Iterator[pd.DataFrame]:
    for raw in source.tables.values():
        if raw.place.encoding == "cp1252":
            yield _about(
                raw,
                "notes",
                "ENCODING",
                "the file is not UTF-8 and was read as Windows text (cp1252)",
                remedy="If accented letters look wrong, save it as CSV UTF-8.",
            )


def _workbook(source: RawSource) -> Iterator[pd.DataFrame]:
    said = {
        "HIDDEN_ROWS": f"{source.hidden_rows} hidden rows were read like any other" if source.hidden_rows else "",
        "COMMENTS": "the comments on its cells were not read" if source.comments else "",
    }
    for rule, problem in said.items():
        if problem:
            yield findings_frame(
                row=[pd.NA],
                severity="notes",
                scope="table",
                rule=rule,
                file=source.name,
                problem=problem,
                remedy="Nothing to do, unless they matter.",
            )


STOP_FIRST = (checking_ids.orphans, checking_ids.of_another_patient, checking_values.life_and_death)
STOP_THEN = (
    checking_days.ranges,
    checking_days.two_kinds_of_period,
    checking_days.after_the_end,
    checking_days.removed_before_placed,
    checking_values.yields,
    checking_values.two_primaries,
)
STOP_LAST = (checking_ids.one_index_collection, checking_ids.drained_on_day_0)
ASK = (
    checking_values.many_sessions,
    checking_values.twins,
    checking_ids.same_again,
    checking_days.after_last_contact,
    checking_days.out_of_order,
    checking_days.event_before_session,
    checking_days.long_in_place,
    checking_values.without_unit,
    checking_values.large_yields,
    checking_values.mixed_units,
    checking_values.volumes,
    checking_values.minutes,
    checking_values.no_instrument,
    checking_values.fatal_events,
    checking_values.grade_against_treatment,
)


ACROSS_PATIENTS = (checking_values.twins, checking_values.mixed_units)


def checked(draft: Draft, *, whole: bool = True) -> Draft:
    """The draft after every rule: what contradicts itself set aside, children after their parents, the rest asked.

    A draft that is not the `whole` holds some of the patients: nothing is asked then that hangs on the others.
    """
    draft = applied(draft, without_required_columns(draft))
    draft = checking_ids.marked(draft)
    draft = applied(draft, checking_ids.without_required_cells(draft))
    draft = applied(draft, checking_ids.twice(draft))
    draft = checking_ids.linked(draft)
    for rules in (STOP_FIRST, STOP_THEN, STOP_LAST):
        for rule in rules:
            draft = applied(draft, rule(draft))
        draft = checking_ids.followed(draft)
    draft = applied(draft, checking_ids.also_treated(draft))
    draft = applied(draft, checking_events.lost_events(draft))
    for rule in ASK if whole else [rule for rule in ASK if rule not in ACROSS_PATIENTS]:
        draft = applied(draft, rule(draft))
    return draft


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
