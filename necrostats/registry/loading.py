"""read_registry: from a tidy source to a Registry, nothing lost on the way without a finding."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import RegistryError
from necrostats.registry.checking import checked
from necrostats.registry.checking_headers import about_source, required_missing
from necrostats.registry.codebook import TABLES, Column
from necrostats.registry.drafts import Draft, DraftTable
from necrostats.registry.earlier_set_aside import about_before, set_aside_before
from necrostats.registry.findings import findings_frame, in_order, no_findings
from necrostats.registry.interpreting import interpreted
from necrostats.registry.messages import problem_report
from necrostats.registry.reading import RawSource, read_source
from necrostats.registry.tables import SET_ASIDE_COLUMNS, Registry, Source, dtype_of, link, nothing_set_aside
from necrostats.registry.tidy_privacy import refuse_identifiers


def read_registry(
    source: str | Path, *, layout: str | Path | None = None, accepted: Collection[str] | str = ()
) -> Registry:
    """The registry in a folder of csv files named after the nine tables, or in an .xlsx with sheets so named; with a
    `layout` (a TOML file), that in any workbook, csv file or folder of them. An entry workbook needs none.

    What cannot be right is set aside and listed in `set_aside`; everything there is to say is in `findings`.
    The privacy check comes first: RegistryError, with places and never a value, if anything looks like an
    identifier; `accepted` is a column, or are columns, that a person has looked at. SourceError if
    the source cannot be read; RegistryError, with all `findings`, if no patient is left or a table that no registry
    can do without is missing.
    """
    accepted = [accepted] if isinstance(accepted, str) else accepted
    from necrostats.registry.export.entry import entry_layout_of

    if plan := layout or entry_layout_of(source):
        from necrostats.registry.export.loading import read_with_layout

        return read_with_layout(source, plan, accepted=accepted).registry
    return read_tidy(source, accepted).registry


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class ReadTidy:
    """A registry read from a tidy source, the cells it was read from, and what became of them."""

    raw: RawSource
    draft: Draft
    registry: Registry


def read_tidy(source: str | Path, accepted: Collection[str] = ()) -> ReadTidy:
    """A tidy source read; raises as `read_registry` does."""
    raw = read_source(source)
    refuse_identifiers(raw, accepted)
    draft = checked(interpreted(raw))
    return ReadTidy(raw=raw, draft=draft, registry=_registry(raw, draft, set_aside_before(source)))


def _registry(raw: RawSource, draft: Draft, before: pd.DataFrame) -> Registry:
    unusable = required_missing(raw)
    said = [*about_source(raw), *draft.findings, *([about_before(before, raw.name)] if len(before) else [])]
    if not unusable and not len(draft["patients"]):
        said.append(_no_patient(raw))
    findings = in_order(pd.concat(said, ignore_index=True)) if said else no_findings()
    if unusable or not draft["patients"].kept.any():
        raise RegistryError(problem_report(findings, raw.name), findings=findings)
    aside = [each for each in (before, set_aside_of(draft)) if len(each)]
    return Registry(
        **link(frames_of(draft)),
        findings=findings,
        source=source_of(raw, draft),
        given=frozenset(raw.tables),
        set_aside=pd.concat(aside, ignore_index=True) if aside else nothing_set_aside(),
    )


def _no_patient(raw: RawSource) -> pd.DataFrame:
    return findings_frame(
        row=[pd.NA],
        scope="table",
        rule="NO_PATIENT",
        table="patients",
        file=raw.name,
        problem="the table patients has no rows",
        remedy="A registry needs at least one patient.",
    )


def source_of(raw: RawSource, draft: Draft) -> Source:
    """Where a draft came from, and how many rows of each table were read and kept."""
    return Source(
        name=raw.name,
        sha256=raw.sha256,
        rows_read={name: len(table) for name, table in draft.tables.items()},
        rows_kept={name: int(table.kept.sum()) for name, table in draft.tables.items()},
    )


def frames_of(draft: Draft) -> dict[str, pd.DataFrame]:
    """The kept rows of each table with the codebook's columns; ids are numbered as their parents' kept rows."""
    ids = {name: _row_ids(table) for name, table in draft.tables.items() if table.table.key}
    return {name: _frame(draft, name, ids) for name in TABLES}


def _row_ids(table: DraftTable) -> pd.CategoricalDtype:
    return pd.CategoricalDtype(pd.Index(table.texts(table.table.key)[table.kept], dtype=object))


def _frame(draft: Draft, name: str, ids: Mapping[str, pd.CategoricalDtype]) -> pd.DataFrame:
    table, rows = draft[name], np.flatnonzero(draft[name].kept)
    columns = {
        column.name: _numbered(draft, name, column, rows, ids) if column.kind == "id" else _typed(table, column, rows)
        for column in table.table.all_columns
    }
    return pd.DataFrame(columns, index=pd.RangeIndex(len(rows)), copy=False)


def _typed(table: DraftTable, column: Column, rows: np.ndarray):
    cells = table.cells[column.name]
    which = cells.which[rows]
    if column.kind == "code":
        dtype = dtype_of(column)
        return pd.Categorical.from_codes(dtype.categories.get_indexer(cells.values)[which], dtype=dtype)
    if column.kind not in ("whole", "day", "yes_no", "number"):
        return pd.array(cells.values, dtype="string").take(which)
    if column.kind == "number":
        return cells.values[which]
    unknown = np.isnan(cells.values)
    if column.kind == "yes_no":
        return pd.arrays.BooleanArray((cells.values == 1.0)[which], unknown[which])
    return pd.arrays.IntegerArray(np.nan_to_num(cells.values).astype(np.int64)[which], unknown[which])


def _numbered(draft: Draft, name: str, column: Column, rows: np.ndarray, ids: Mapping) -> pd.Categorical:
    owner = column.refers_to or name
    kept = draft[owner].kept
    place = np.append(np.where(kept, np.cumsum(kept) - 1, -1), -1)
    return pd.Categorical.from_codes(place[draft.link(name, column.name)[rows]], dtype=ids[owner])


def set_aside_of(draft: Draft) -> pd.DataFrame:
    """The list of every row and cell that a rule set aside."""
    patients = np.append(draft["patients"].texts("patient_id"), None)
    owners = {name: patients[draft.patients_of(name)] for name in {each.table for each in draft.taken}}
    lists = [_listed(draft[each.table], each, owners[each.table]) for each in draft.taken if len(each.at)]
    return pd.concat(lists, ignore_index=True)[list(SET_ASIDE_COLUMNS)] if lists else nothing_set_aside()


def _listed(table: DraftTable, taken, owner: np.ndarray) -> pd.DataFrame:
    about: Mapping[str, object] = {
        "table": taken.table,
        "file": table.raw.place.file,
        "sheet": table.raw.place.sheet,
        "row": pd.array(table.raw.rows[taken.at], dtype="Int64"),
        "scope": taken.scope,
        "column": taken.column,
        "patient_id": owner[taken.at],
        "rule": taken.rule,
    }
    text = [name for name in about if name != "row"]
    return pd.DataFrame(about).astype(dict.fromkeys(text, object))
