"""Lines of a layout that are sound and do nothing: words for a column, or of a kind, that no column of it takes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.layout import EVENTS, SheetLayout, home, is_date
from necrostats.registry.export.layout_columns import lists_of

Inert = tuple[str, str]
_EVENTS = frozenset(EVENTS)
_LISTS = frozenset({"instruments", "instrument_class", "stent", "stents", "collections"})
_YIELDS = frozenset({"yield"})
_SIZED = frozenset({"yield", "size", "stent_size", "stent", "stents"})
_TAKEN_BY: Mapping[str, tuple[frozenset[str], str]] = {
    **dict.fromkeys(("no_event", "negation", "perhaps"), (_EVENTS, "cells of events")),
    **dict.fromkeys(("then", "with"), (_LISTS, "cells that list instruments, stents or collections")),
    **dict.fromkeys(("out", "in", "text_kept"), (_YIELDS, "yields")),
    **dict.fromkeys(("about", "above", "below", "to", "between", "and"), (_SIZED, "amounts, sizes and numbers")),
}


def inert_lines(synonyms: Sequence[str], words: Sequence[str], sheets: Sequence[SheetLayout]) -> Iterator[Inert]:
    """(place in the layout, what is to be said) of each list under [synonyms] and [words] that nothing takes."""
    columns = [(rows.table, column.to) for sheet in sheets for rows in sheet.rows for column in rows.columns]
    taken = {name for each in columns for name in lists_of(*each)}
    for name in synonyms:
        if name not in taken:
            yield f"synonyms.{name}", "no column of the layout takes these words, so they do nothing"
    numbers = any(_is_number(*each) for each in columns)
    for name in words:
        takers, which = _TAKEN_BY.get(name, (frozenset(), ""))
        used = not takers or any(to in takers for _, to in columns) or (takers is _SIZED and numbers)
        if not used:
            yield f"words.{name}", f"counts in {which} only, and the layout maps none, so it does nothing"


def _is_number(table: str, target: str) -> bool:
    table, target = home(table, target)
    plain = target in TABLES[table].names and not is_date(table, target)
    return plain and TABLES[table].column(target).kind in ("number", "whole")
