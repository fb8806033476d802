"""The workbook that a unit typed its registry into, found by its form and read by the layout that goes with it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from openpyxl import load_workbook

from necrostats.errors import SourceError
from necrostats.registry.days import read_date
from necrostats.registry.entry_workbook import INSTRUCTIONS, LOCK, entry_layout, is_entry_workbook
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.layout_reading import parse_layout


def entry_layout_of(source: str | Path) -> Layout | None:
    """The layout of an entry workbook; None if the source is none. SourceError if its data lock is not given."""
    path = Path(source)
    if not is_entry_workbook(path):
        return None
    lock = _data_lock(path)
    if lock is None:
        raise SourceError(
            f'{path.name}: the data lock is not given. Write its date in the sheet "{INSTRUCTIONS}", beside "{LOCK}".'
        )
    return parse_layout(entry_layout(lock.isoformat()), name=f"the layout of {path.name}")


def _data_lock(path: Path) -> date | None:
    book = load_workbook(path, read_only=True, data_only=True)
    try:
        for label, value, *_ in book[INSTRUCTIONS].iter_rows(max_col=2, values_only=True):
            if label == LOCK and value is not None:
                found = read_date(value, day_first=True)
                return found.first if found.known and found.exact else None
    finally:
        book.close()
    return None
