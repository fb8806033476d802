"""The privacy check over a tidy source: every cell, heading and name, before anything is read into a table."""

from __future__ import annotations

from collections.abc import Collection

from necrostats.errors import RegistryError
from necrostats.registry.codebook import TABLES
from necrostats.registry.privacy import Sheet, find_identifiers, refusal_text
from necrostats.registry.reading import RawSource
from necrostats.registry.written import RawTable


def refuse_identifiers(raw: RawSource, accepted: Collection[str] = ()) -> None:
    """RegistryError, with places and never a value, if anything looks like an identifier.

    A date in a column of whole numbers is left to the reading of cells, which withholds it. `accepted` are columns
    that a person has looked at.
    """
    found = find_identifiers(
        [_sheet(table) for table in raw.tables.values()],
        [("a name in the source", name) for name in (*_files(raw), *raw.strangers)],
        accepted=accepted,
        date_columns=_of_kind("day") | _of_kind("whole"),
        id_columns=_of_kind("id"),
    )
    if found:
        raise RegistryError(refusal_text(found))


def _files(raw: RawSource) -> set[str]:
    return {table.place.file for table in raw.tables.values()}


def _of_kind(kind: str) -> set[str]:
    return {column.name for table in TABLES.values() for column in table.all_columns if column.kind == kind}


def _sheet(table: RawTable) -> Sheet:
    place = table.place
    return Sheet(
        file=place.file, name=place.sheet, header=list(table.columns), columns=table.columns, rows=table.rows.tolist()
    )
