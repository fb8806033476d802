"""A question that the registry cannot answer: the sentences that say why, as words, table and figure."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure as Drawing

from necrostats.present.figures import Figure, blank, chart, check_width
from necrostats.present.labels import wrapped
from necrostats.present.pen import Pen
from necrostats.present.saying import ended, findings
from necrostats.present.style import LINE, QUIET, TEXT, drawing
from necrostats.present.tables import Table, table
from necrostats.results import Unanswered

NOT_COMPUTED = "Not computed, because"
_MARGIN, _MOST_LINES = 0.1, 12


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
        return _written(said, inches)

    said = " ".join(findings(result))
    with drawing():
        fig = redraw(check_width(width))
    return Figure(
        fig=fig, alt=said, caption=f"{ended(result.title)} Not computed.", data=table(result).frame, redraw=redraw
    )


def _reasons(result: Unanswered) -> list[str]:
    return [ended(note.text) for note in result.notes]


def _written(text: str, width: float) -> Drawing:
    lines = wrapped(text, width - 2 * _MARGIN, TEXT, most=_MOST_LINES)
    sheet = blank(width, LINE * (lines.count("\n") + 1) + 2 * _MARGIN)
    Pen(sheet).text(_MARGIN, _MARGIN, lines, color=QUIET)
    return sheet
