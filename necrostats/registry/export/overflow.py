"""The "8+" column: several sessions in one cell, read whole or set aside whole."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.export.cells import RawCell
from necrostats.registry.export.layout import ColumnLayout, Overflow
from necrostats.registry.export.readers import Pseudonyms, readings_of
from necrostats.registry.export.readings import BLANK, DATE, NO_RESULT, Reading, refused
from necrostats.registry.export.targets import OVERFLOW
from necrostats.registry.quantities import is_blank
from necrostats.registry.tidy_cells import read_cell
from necrostats.registry.verdicts import Verdict

Entry = Mapping[str, Reading]


def overflow_entries(
    cells: Sequence[RawCell], table: str, layouts: Sequence[ColumnLayout], overflow: Overflow, system: str,
    pseudonyms: Pseudonyms,
) -> list[list[Entry]]:  # fmt: skip
    """For each different cell, its sessions (target → reading); one entry with a problem if it cannot be read whole."""
    return [_entries(cell, table, layouts, overflow, system, pseudonyms) for cell in cells]


def _entries(
    cell: RawCell, table: str, layouts: Sequence[ColumnLayout], overflow: Overflow, system: str,
    pseudonyms: Pseudonyms,
) -> list[Entry]:  # fmt: skip
    if cell.no_result:
        return [{OVERFLOW: replace(NO_RESULT, withheld=DATE)}]
    if is_blank(cell.text):
        return []
    found = []
    for written in re.split(rf"{re.escape(overflow.between)}|[\r\n]+", cell.text):
        if not written.strip():
            continue
        pieces = [piece.strip() for piece in written.split(overflow.between_parts)]
        if len(pieces) > len(layouts):
            return _aside("holds a session with more parts than the layout names")
        pieces += [""] * (len(layouts) - len(pieces))
        entry = {
            layout.to: replace(_read(piece, table, layout, system, pseudonyms), withheld=DATE)
            for layout, piece in zip(layouts, pieces, strict=True)
        }
        if not _whole(entry, TABLES[table]):
            return _aside("holds further sessions that cannot be read whole")
        found.append(entry)
    return found or _aside("holds further sessions that cannot be read whole")


def _read(piece: str, table: str, layout: ColumnLayout, system: str, pseudonyms: Pseudonyms) -> Reading:
    if not piece:
        return BLANK
    return readings_of([RawCell(text=piece)], table, layout, system, pseudonyms)[0]


def _whole(entry: Entry, table: Table) -> bool:
    day = entry["day"].date
    return day is not None and day.exact and all(_sound(reading, table) for reading in entry.values())


def _sound(reading: Reading, table: Table) -> bool:
    columns = {column.name: column for column in table.columns if column.name in reading.fills}
    read = (read_cell(reading.fills[name], column) for name, column in columns.items())
    return not reading.problem and not any(isinstance(each, Verdict) and each.severity == "stops" for each in read)


def _aside(problem: str) -> list[Entry]:
    return [{OVERFLOW: replace(refused(problem, "OVERFLOW"), withheld=DATE)}]
