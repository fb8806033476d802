"""The "8+" column: several sessions in one cell, read whole or set aside whole."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.export.cells import BLANK, DATE, NO_RESULT, RawCell, Reading, refused
from necrostats.registry.export.layout import OVERFLOW, ColumnLayout, Overflow
from necrostats.registry.export.readers import Pseudonyms, readings_of
from necrostats.registry.findings import Verdict
from necrostats.registry.quantities import is_blank
from necrostats.registry.tidy_cells import read_cell

Entry = Mapping[str, Reading]


def overflow_entries(
    cells: Sequence[RawCell],
    table: str,
    layouts: Sequence[ColumnLayout],
    overflow: Overflow,
    system: str,
    pseudonyms: Pseudonyms,
) -> list[list[Entry]]:
    """For each different cell, its sessions (target → reading); one entry with a problem if it cannot be read whole."""
    return [_entries(cell, table, layouts, overflow, system, pseudonyms) for cell in cells]


def _entries(
    cell: RawCell,
    table: str,
    layouts: Sequence[ColumnLayout],
    overflow: Overflow,
    system: str,
    pseudonyms: Pseudonyms,
) -> list[Entry]:
    if cell.no_result:
        return [{OVERFLOW: replace(NO_RESULT, withheld=DATE)}]
    if is_blank(cell.text):
        return []
    found = []
    for written in re.split(rf"{re.escape(overflow.between)}|[\r\n]+", cell.text):
        if not written.strip():
            continue
        ways = _ways(_NUMBERED.sub("", written), overflow.between_parts, len(layouts))
        if not ways:
            return _aside("holds a session with more parts than the layout names")
        entries = [_entry(pieces, table, layouts, system, pseudonyms) for pieces in ways]
        whole = _fullest(zip(ways, entries, strict=True), TABLES[table])
        if len(whole) != 1:
            return _aside(
                "holds further sessions that can be read in several ways"
                if whole
                else "holds further sessions that cannot be read whole"
            )
        entry = whole[0]
        found.append(entry)
    return found or _aside("holds further sessions that cannot be read whole")


_NUMBERED = re.compile(r"\A\s*\(?\d{1,2}[).:]\s+")
_DANGLING = re.compile(r"\A[+,&/]|(?:[+,&/]|\b(?:then|and|with))\Z")
_MOST_WORDS = 12


def _ways(written: str, between: str, parts: int) -> list[list[str]]:
    """How a session can be cut into its parts: at what stands between them; where that is a blank, wherever it reads.

    Nothing is cut beside a plus or comma, which joins what stands on both sides of it.
    """
    if between.strip():
        pieces = [piece.strip() for piece in written.split(between)]
        return [pieces + [""] * (parts - len(pieces))] if len(pieces) <= parts else []
    words = written.split()
    if len(words) > _MOST_WORDS:
        return []
    cuts = (cut for size in range(parts) for cut in combinations(range(1, len(words)), size))
    ways = (_cut(words, cut, parts) for cut in cuts)
    return [pieces for pieces in ways if not any(_DANGLING.search(piece) for piece in pieces)]


def _fullest(cut: Iterable[tuple[list[str], Entry]], table: Table) -> list[Entry]:
    """Of the ways that read whole those with the most parts filled."""
    whole = [(sum(map(bool, pieces)), entry) for pieces, entry in cut if _whole(entry, table)]
    most = max((filled for filled, _ in whole), default=0)
    return [entry for filled, entry in whole if filled == most]


def _cut(words: Sequence[str], cut: Sequence[int], parts: int) -> list[str]:
    ends = [0, *cut, len(words)]
    pieces = [" ".join(words[first:last]) for first, last in pairwise(ends)]
    return pieces + [""] * (parts - len(pieces))


def _entry(
    pieces: Sequence[str], table: str, layouts: Sequence[ColumnLayout], system: str, pseudonyms: Pseudonyms
) -> Entry:
    return {
        layout.to: replace(_read(piece, table, layout, system, pseudonyms), withheld=DATE)
        for layout, piece in zip(layouts, pieces, strict=True)
    }


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
