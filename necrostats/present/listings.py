"""Listings: rows to be read one by one, every value as it stands."""

from __future__ import annotations

import pandas as pd

from necrostats.present.labels import plain, sentence_case
from necrostats.present.saying import ended, findings
from necrostats.present.tables import Table, table
from necrostats.results import Listing


@table.register(Listing)
def _(result: Listing, **options) -> Table:
    """The rows as they are; codes in plain words, text as written, blanks left blank."""
    table = result.frame
    heads = {name: sentence_case(plain(name)) for name in table.columns}
    frame = pd.DataFrame({heads[name]: _texts(table[name]) for name in table.columns}, dtype=object)
    words = tuple(heads[name] for name in table.columns if not pd.api.types.is_numeric_dtype(table[name]))
    empty = () if len(table) else ("None.",)
    notes = (*empty, *(ended(note.text) for note in result.notes))
    return Table(caption=result.title, frame=frame, notes=notes, words=words)


def _texts(values: pd.Series) -> list[str]:
    is_code = isinstance(values.dtype, pd.CategoricalDtype)
    return ["" if pd.isna(value) else plain(value) if is_code else str(value) for value in values.astype(object)]


@findings.register(Listing)
def _(result: Listing, **options) -> tuple[str, ...]:
    """How many rows there are to read."""
    rows = len(result.frame)
    return (f"{result.title}: {rows:,} {'row' if rows == 1 else 'rows'}.",)
