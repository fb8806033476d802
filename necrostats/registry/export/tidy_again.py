"""A registry that is tidy in form, however it was typed: read once more, with the ledger of what its cells became."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import Draft, DraftTable, heading, is_numeric
from necrostats.registry.export.conservation import Counts
from necrostats.registry.export.ledger import COLUMNS, SET_ASIDE, UNKNOWN, VALUE
from necrostats.registry.export.names import letters_of
from necrostats.registry.export.redaction import WITHHELD
from necrostats.registry.loading import ReadTidy, read_tidy
from necrostats.registry.source_table import RawTable
from necrostats.registry.tables import Registry


def tidied_again(source: str | Path, accepted: Collection[str] = ()) -> tuple[Registry, Counts, list[pd.DataFrame]]:
    """A tidy source read, its cells and rows counted by what became of them, and the ledger in parts, one a table."""
    read = read_tidy(source, accepted)
    ledger = [part for name in read.raw.tables for part in _ledger(read, name)]
    return read.registry, _counts(read, ledger), ledger


def _ledger(read: ReadTidy, name: str) -> Iterator[pd.DataFrame]:
    """The cells of a table with anything in them, in the order of its columns."""
    raw, table = read.raw.tables[name], read.draft[name]
    aside = _aside(read.draft, name)
    for number, head in enumerate(raw.columns, start=1):
        column = next((each for each in TABLES[name].all_columns if heading(raw, each.name) == head), None)
        filled = np.array([bool(text.strip()) for text in raw.columns[head].texts])[raw.columns[head].which]
        if column is not None and filled.any():
            yield _lines(read, table, column, np.flatnonzero(filled), aside, number)


def _aside(draft: Draft, name: str) -> dict[str, np.ndarray]:
    """The rows at which cells of each column were set aside."""
    cells = [each for each in draft.taken if each.table == name and each.scope == "cell"]
    return {
        column: np.concatenate([each.at for each in cells if each.column == column])
        for column in {each.column for each in cells}
    }


def _lines(
    read: ReadTidy, table: DraftTable, column: Column, at: np.ndarray, aside: dict[str, np.ndarray], number: int
) -> pd.DataFrame:
    raw, name = table.raw, table.table.name
    lost = table.gone[at] | np.isin(at, aside.get(column.name, np.empty(0, np.int64)))
    known = table.known(column.name)[at]
    lines = {
        "file": raw.place.file,
        "sheet": raw.place.sheet,
        "row": raw.rows[at],
        "cell": [f"{letters_of(number)}{row}" for row in raw.rows[at].tolist()],
        "column": heading(raw, column.name),
        "written": _written(read, raw, column, at),
        "outcome": np.where(lost, SET_ASIDE, np.where(known, VALUE, UNKNOWN)),
        "table": name,
        "id": _ids(read, table)[at],
        "field": column.name,
        "value": np.where(lost, "", _values(table, column)[at]),
        "rule": "",
    }
    return pd.DataFrame(lines)[list(COLUMNS)]


def _written(read: ReadTidy, raw: RawTable, column: Column, at: np.ndarray) -> np.ndarray:
    """The cells as written; those that a finding withholds, and ages that are not kept, are not shown."""
    texts = raw.columns[heading(raw, column.name)].at(at)
    findings = read.registry.findings
    hidden = (findings["table"] == raw.place.table) & (findings["column"] == column.name)
    hidden &= findings["problem"].str.contains("withheld") | (findings["rule"] == "AGE_90")
    return np.where(np.isin(raw.rows[at], findings.loc[hidden, "row"].dropna().to_numpy()), WITHHELD, texts)


def _ids(read: ReadTidy, table: DraftTable) -> np.ndarray:
    names = [column.name for column in table.table.columns if column.kind == "id"]
    return np.where(pd.isna(values := table.texts(table.table.key or names[0])), "", values)


def _values(table: DraftTable, column: Column) -> np.ndarray:
    cells = table.cells[column.name]
    if column.kind == "yes_no":
        texts = np.array(["" if value != value else "yes" if value else "no" for value in cells.values], dtype=object)
    elif is_numeric(column.kind):
        texts = np.array(["" if value != value else f"{value:.15g}" for value in cells.values], dtype=object)
    else:
        texts = np.array(["" if value is None else value for value in cells.values], dtype=object)
    return texts[cells.which]


def _counts(read: ReadTidy, ledger: list[pd.DataFrame]) -> Counts:
    outcomes = pd.concat([part["outcome"] for part in ledger]).value_counts() if ledger else pd.Series(dtype=int)
    cells = sum(
        int(np.count_nonzero(np.array([bool(text.strip()) for text in column.texts])[column.which]))
        for raw in read.raw.tables.values()
        for column in raw.columns.values()
    )
    gone = sum(int(read.draft[name].gone.sum()) for name in read.raw.tables)
    rows = sum(map(len, read.raw.tables.values()))
    return Counts(
        cells=cells,
        interpreted=int(outcomes.get(VALUE, 0)),
        unknown=int(outcomes.get(UNKNOWN, 0)),
        cells_set_aside=int(outcomes.get(SET_ASIDE, 0)),
        ignored=0,
        not_mentioned=cells - int(outcomes.sum()),
        rows=rows,
        rows_made=rows - gone,
        rows_set_aside=gone,
    )
