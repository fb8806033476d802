"""What has no figure to draw: rows to be read one by one, and a question that the registry cannot answer.

Rows show every value as it stands; an unanswered question shows the sentences that say why.
"""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure as Drawing

from necrostats.present.drawing import words_alone
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.style import drawing
from necrostats.present.tables import Table, table
from necrostats.present.wording import ended, findings, plain, sentence_case
from necrostats.results import Listing, Unanswered


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


NOT_COMPUTED = "Not computed, because"


@findings.register(Unanswered)
def _(result: Unanswered, **options) -> tuple[str, ...]:
    """That there is no figure, what is not recorded, and what to add."""
    return (f"{result.title}: not computed.", *_reasons(result))


@table.register(Unanswered)
def _(result: Unanswered, **options) -> Table:
    """One row for each thing that is not recorded."""
    frame = pd.DataFrame({NOT_COMPUTED: _reasons(result)}, dtype=object)
    return Table(caption=ended(result.title), frame=frame, words=(NOT_COMPUTED,))


@chart.register(Unanswered)
def _(result: Unanswered, *, width: str = "page", **options) -> Figure:
    """The sentences where the drawing would stand."""

    def redraw(inches: float) -> Drawing:
        return words_alone(said, inches)

    said = " ".join(findings(result))
    with drawing():
        fig = redraw(check_width(width))
    return Figure(
        fig=fig, alt=said, caption=f"{ended(result.title)} Not computed.", data=table(result).frame, redraw=redraw
    )


def _reasons(result: Unanswered) -> list[str]:
    return [ended(note.text) for note in result.notes]
