"""From made tables to a Draft: read by the same rules as a tidy registry, with what the export's cells left to say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import Draft, Flag, Taken, applied
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.linking import ID_FORMS
from necrostats.registry.export.table_drafts import Made, Making, Mark, Origin
from necrostats.registry.export.targets import OVERFLOW, fills
from necrostats.registry.export.texts import Texts
from necrostats.registry.export.timing import Index
from necrostats.registry.findings import findings_frame
from necrostats.registry.reading import RawSource
from necrostats.registry.shapes import shaped
from necrostats.registry.source_table import Place, RawTable, Written
from necrostats.registry.text import defused

MADE = "made from the export"
AS_WRITTEN = "the cell as written"
_FREE = ("text", "id", "ids")
_MAKES = {"index_date": "sessions", "instruments": "instrument_uses", "event": "adverse_events", "stents": "stents"}


def raw_source(making: Making, layout: Layout, name: str, sha256: str) -> RawSource:
    """The made tables as if somebody had written them; row r of a made table is row r + 1."""
    made_at_all = {*(rows.table for _, rows in layout.makers()), "collections", "patients", *layout.none_happened}
    for _, rows in layout.makers():
        made_at_all |= {table for target, table in _MAKES.items() if rows.holds(target)}
    tables = {table: _raw(making.tables[table]) for table in TABLES if table in made_at_all}
    return RawSource(name=name, sha256=sha256, tables=tables)


def _raw(made: Made) -> RawTable:
    """Texts that would lose an apostrophe when the tidy form is read get one more."""
    needed = _written_for(made)
    columns = {
        column.name: _written(made.text(column.name), free=_is_free(made, column))
        for column in made.table.all_columns
        if column.name in made.texts or column.name in needed
    }
    return RawTable(
        place=Place(table=made.table.name, file=MADE),
        rows=np.arange(1, len(made) + 1),
        columns=columns,
    )


def _written_for(made: Made) -> set[str]:
    """Columns that the layout gives a table, filled or not."""
    own = {name for target in made.origins for name in fills(made.table.name, target)}
    if made.table.name in _MAKES.values() and not len(made):
        own |= {column.name for column in made.table.required_columns}
    return own


def _is_free(made: Made, column: Column) -> bool:
    """Whether the texts of a column are an export's own; the reader makes most ids itself."""
    return column.kind in _FREE and not (column.kind == "id" and (column.refers_to or made.table.name) in ID_FORMS)


def _written(texts: Texts, *, free: bool) -> Written:
    if free and any(defused(shape) != shape for shape in shaped(texts.different).shapes):
        safe = np.array([defused(text) for text in texts.different], dtype=object)
        return Written(texts=safe, which=texts.which)
    return Written(texts=texts.different, which=texts.which)


def marked(draft: Draft, making: Making) -> tuple[Draft, list[tuple[str, Mark]]]:
    """The draft after every mark, and the marks, each with its table, in the order of the findings they made."""
    said: list[tuple[str, Mark]] = []
    for name, made in making.tables.items():
        for mark in made.marks if draft[name].given else ():
            if len(mark.at):
                draft = _applied(draft, name, mark)
                said.append((name, mark))
    return draft, said


def _applied(draft: Draft, table: str, mark: Mark) -> Draft:
    column, takes = mark.column, mark.takes
    if takes == "cell" and _needs_row(table, mark.column):
        takes = "row"
    known = {each.name for each in TABLES[table].all_columns}
    flag = Flag(
        rule=mark.rule,
        table=table,
        at=mark.at,
        severity=mark.severity,
        column=column if column in known else "",
        takes=takes if column in known or takes == "row" else "",
        problem=mark.problem,
        remedy=mark.remedy,
        value=AS_WRITTEN,
    )
    if column in known:
        return applied(draft, [flag])
    draft = _found(draft, flag, mark.column)
    if takes == "cell":
        taken = Taken(rule=mark.rule, table=table, at=mark.at, scope="cell", column=column)
        draft = replace(draft, taken=(*draft.taken, taken))
    if takes == "row":
        quiet = applied(replace(draft, findings=()), [flag])
        draft = replace(quiet, findings=draft.findings)
    return draft


def _needs_row(table: str, target: str) -> bool:
    """Whether a row cannot stand without what a cell of a target should have given."""
    if target == OVERFLOW:
        return True
    return target in ("collection", "session") and any(
        TABLES[table].column(name).required for name in fills(table, target)
    )


def _found(draft: Draft, flag: Flag, column: str) -> Draft:
    """The draft with the finding of a flag on a target that is no column of the codebook."""
    raw = draft[flag.table].raw
    found = findings_frame(
        row=raw.rows[flag.at],
        severity=flag.severity,
        scope="row" if flag.takes == "row" else "cell",
        rule=flag.rule,
        table=flag.table,
        file=raw.place.file,
        column=column,
        value=AS_WRITTEN,
        problem=flag.problem,
        remedy=flag.remedy,
    )
    return replace(draft, findings=(*draft.findings, found))


def without_index(making: Making, index: Index) -> Making:
    """Patients with a problem of their index drainage, marked to be set aside with all that is theirs."""
    tables, problems = {}, index.problem
    for name, made in making.tables.items():
        at = np.flatnonzero(np.append(problems != "", False)[made.person])
        main = name == "patients"
        tables[name] = made.with_marks(
            Mark(
                rule="INDEX_UNKNOWN" if main else "PARENT_SET_ASIDE",
                at=at,
                column=("patient_id" if "patient_id" in made.table.names else "session_id"),
                severity="stops" if main else "notes",
                takes="row",
                problem=problems[made.person[at]] if main else "was set aside from patients, and this with it",
                remedy="Every day is counted from the index drainage: give its date as one day."
                if main
                else "Mend the row it belongs to: this one follows.",
                origin=index.origin.take(made.person[at]) if main else Origin.none(len(at)),
            )
        )
    return making.with_tables(**tables)


def kept_rows(draft: Draft) -> dict[str, np.ndarray]:
    """For each table, which rows (N,) are kept."""
    return {name: table.kept for name, table in draft.tables.items()}


def taken_cells(draft: Draft, table: str) -> Sequence[tuple[str, np.ndarray]]:
    """(column, rows) of the cells of a table that were set aside by a rule."""
    return [(each.column, each.at) for each in draft.taken if each.table == table and each.scope == "cell"]
