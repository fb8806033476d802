"""read_registry: from a tidy source to a Registry, nothing lost on the way without a finding."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import RegistryError
from necrostats.registry.checking import about_source, checked, interpreted, required_missing
from necrostats.registry.codebook import TABLES
from necrostats.registry.drafts import Draft, frames_of, set_aside_of, source_of
from necrostats.registry.emptied import about_emptied, emptied
from necrostats.registry.entry_workbook import entry_layout_of
from necrostats.registry.findings import findings_frame, in_order, no_findings
from necrostats.registry.messages import problem_report
from necrostats.registry.privacy import KnownIds, Names, Sheet, Suspicion, find_identifiers, not_released, refusal_text
from necrostats.registry.quantities import read_quantity
from necrostats.registry.reading import RawSource, about_before, read_source, set_aside_before
from necrostats.registry.source_table import RawTable, Written
from necrostats.registry.tables import Registry, link, nothing_set_aside

_NONE = np.array([""], dtype=object)


def refuse_identifiers(raw: RawSource, accepted: Collection[str] = ()) -> None:
    """RegistryError, with places and never a value, if anything looks like an identifier.

    A date in a column of whole numbers is left to the reading of cells, which withholds it. `accepted` are columns
    that a person has looked at. Ids are looked at in the table they belong to; elsewhere only those it does not hold.
    A yield that reads whole as an amount, and the numbers that it gives, are no identifiers.
    """
    if found := _found(raw, raw.tables, accepted):
        found = _found(raw, {name: _without_amounts(table) for name, table in raw.tables.items()}, accepted)
    if found:
        raise RegistryError(refusal_text(found))


def _found(raw: RawSource, tables: Mapping[str, RawTable], accepted: Collection[str]) -> list[Suspicion]:
    keys, names = _keys(raw), _names(raw)
    return not_released(names.suspicions, accepted) + find_identifiers(
        [_sheet(name, table, keys) for name, table in tables.items()],
        names=names,
        accepted=accepted,
        date_columns=_of_kind("day") | _of_kind("whole"),
        id_columns=_of_kind("id"),
    )


def _names(raw: RawSource) -> Names:
    """The names of files, and of sheets where the source is a workbook; those of tables are ours."""
    places = [table.place for table in raw.tables.values()]
    sheets = [place.sheet for place in places if place.sheet]
    files = [place.file for place in places]
    return Names(files, [*sheets, *raw.strangers]) if sheets else Names([*files, *raw.strangers], [])


def _of_kind(kind: str) -> set[str]:
    return {column.name for table in TABLES.values() for column in table.all_columns if column.kind == kind}


def _keys(raw: RawSource) -> dict[str, KnownIds]:
    """The ids of each table that others refer to, as written: looked at once, in their own table."""
    referred = {column.refers_to for table in TABLES.values() for column in table.columns if column.refers_to}
    return {
        name: KnownIds(table.columns[TABLES[name].key].texts)
        for name, table in raw.tables.items()
        if name in referred and TABLES[name].key in table.columns
    }


def _sheet(name: str, table: RawTable, keys: Mapping[str, KnownIds]) -> Sheet:
    place = table.place
    columns = dict(table.columns)
    for column in TABLES[name].columns:
        if column.name in columns and column.refers_to in keys:
            columns[column.name] = _strange(columns[column.name], keys[column.refers_to])
    return Sheet(file=place.file, name=place.sheet, header=list(columns), columns=columns, rows=table.rows)


def _strange(written: Written, keys: KnownIds) -> Written:
    """A column of references without those that name rows of the table they refer to."""
    known = keys.hold(written.texts)
    if known.all():
        return Written(texts=_NONE, which=np.zeros(len(written.which), dtype=np.int8))
    return Written(texts=np.where(known, "", written.texts), which=written.which)


def _without_amounts(table: RawTable) -> RawTable:
    """A table without the yields that read whole as an amount with its unit or as a range, and without their numbers.

    What was read from "1250 kg" or from "entre 100 y 150" would otherwise look like a record number or an age.
    """
    written = table.columns.get("yield_as_written")
    if written is None:
        return table
    read = [read_quantity(text) for text in written.texts]
    amounts = np.array([not each.problem and (each.unit_written or each.low != each.high) for each in read])
    columns = {**table.columns, "yield_as_written": _blanked(written, amounts[written.which])}
    for name, ends in (("yield_low", [each.low for each in read]), ("yield_high", [each.high for each in read])):
        if name in columns:
            given = np.where(amounts, np.array(ends, dtype=np.float64), np.nan)
            columns[name] = _blanked(columns[name], _numbers(columns[name]) == given[written.which])
    return replace(table, columns=columns)


def _numbers(written: Written) -> np.ndarray:
    """The numbers (N,) of a column as written; NaN for what is none."""
    return pd.to_numeric(pd.Series(written.texts, dtype=object), errors="coerce").to_numpy(np.float64)[written.which]


def _blanked(written: Written, rows: np.ndarray) -> Written:
    """A column with some rows (N,) blank, and without the texts that nothing holds then."""
    which = np.where(rows, 0, written.which)
    held = np.isin(np.arange(len(written.texts)), which)
    return Written(texts=np.where(held, written.texts, ""), which=which)


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
    if plan := layout or entry_layout_of(source):
        from necrostats.registry.export.loading import read_with_layout  # a tidy source needs nothing of it

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
    lists = [each for each in (before, set_aside_of(draft)) if len(each)]
    aside, source = pd.concat(lists, ignore_index=True) if lists else nothing_set_aside(), source_of(raw, draft)
    lost = emptied(raw.tables, source.rows_kept, aside)
    said += about_emptied(lost, raw.name)
    findings = in_order(pd.concat(said, ignore_index=True)) if said else no_findings()
    if unusable or not draft["patients"].kept.any():
        raise RegistryError(problem_report(findings, raw.name), findings=findings)
    return Registry(
        **link(frames_of(draft)),
        findings=findings,
        source=source,
        given=frozenset(raw.tables) - lost,
        set_aside=aside,
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
