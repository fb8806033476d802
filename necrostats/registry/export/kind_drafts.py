"""A log among the sheets of an export: its rows are of several kinds, and a column says of which."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import RawColumn
from necrostats.registry.export.heading_guesses import WHOLE, filled_cells, likeness, phrases
from necrostats.registry.export.layout_text import Sheet
from necrostats.registry.text import LANGUAGES, codes_in, folded
from necrostats.registry.words import known_words

_TOLD_BY = {
    "sessions": "session_type",
    "other_interventions": "kind",
    "adverse_events": "event_type",
    "scans": "modality",
    "stents": "stent_type",
}
_MOST_KINDS, _FEWEST_ROWS, _ENOUGH = 20, 2, 0.8


def rows_by_kind(sheet: Sheet) -> list[tuple[str, Sheet]]:
    """The tables that the rows of a sheet are of, each with its rows; none if they are all of one, or nobody says."""
    best: dict[str, list[str]] = {}
    heading = ""
    for name, column in sheet.columns.items():
        found = _kinds(column) if name not in (sheet.key, sheet.session) else {}
        if len(found) > max(1, len(best)):
            best, heading = found, name
    return [(table, _only(sheet, heading, words)) for table, words in best.items()]


def _kinds(column: RawColumn) -> dict[str, list[str]]:
    """Tables → the cells of a column that say a row is of it; empty where too few of its cells say so."""
    words = [cell.text for cell in filled_cells(column) if cell.value is None]
    if not 1 < len(words) <= _MOST_KINDS:
        return {}
    said = {word: table for word in dict.fromkeys(map(folded, words)) if (table := _table_of(word))}
    rows = Counter(said.get(folded(text), "") for text in column.texts() if str(text).strip())
    kept = {table: [word for word in said if said[word] == table] for table in dict.fromkeys(said.values())}
    sound = all(rows[table] >= _FEWEST_ROWS for table in kept)
    return kept if sound and sum(rows[table] for table in kept) >= _ENOUGH * sum(rows.values()) else {}


def _table_of(word: str) -> str:
    """The one table whose codes, or whose name, a word is; blank if it is none or several."""
    found = {table for table, words in _words().items() if word in words}
    named = {table for table, listed in phrases()["sheets"].items() if table in TABLES and _names(word, listed)}
    either = found | named
    return either.pop() if len(either) == 1 else ""


def _names(word: str, listed: Sequence[str]) -> bool:
    return likeness(word, listed) >= WHOLE


@lru_cache(maxsize=1)
def _words() -> Mapping[str, frozenset[str]]:
    """The words of every language for the codes that tell what a row of a table is; not those for other kinds."""
    return {table: frozenset(_of_column(table, column)) for table, column in _TOLD_BY.items()}


def _of_column(table: str, column: str) -> set[str]:
    codes = TABLES[table].column(column).codes
    spread = {word: code for each in LANGUAGES for word, code in codes_in(each, column).items()}
    known = {**spread, **known_words(column, codes, {})}
    return {word for word, code in known.items() if code not in ("other", "unknown")}


def _only(sheet: Sheet, heading: str, words: Sequence[str]) -> Sheet:
    rows = np.flatnonzero([folded(str(text)) in words for text in sheet.columns[heading].texts()])
    columns = {name: column.at(rows) for name, column in sheet.columns.items()}
    return replace(sheet, columns=columns, where=(heading, tuple(words)))
