"""A question that the registry cannot answer: the sentences that say why, as words, table and figure."""

from __future__ import annotations

import pandas as pd
from matplotlib.figure import Figure as Drawing

from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.pen import words_alone
from necrostats.present.saying import ended, findings
from necrostats.present.style import drawing
from necrostats.present.tables import Table, table
from necrostats.results import Unanswered

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
