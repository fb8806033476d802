"""Draws how many sessions each class has at each level, so that empty cells are seen at once."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Rectangle

from necrostats.present import numbers
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.labels import in_order, plain, sentence_case, width_of, wrapped
from necrostats.present.pen import Pen, blank
from necrostats.present.style import INK, QUIET, RULE, SMALL, STYLES, TEXT, drawing
from necrostats.present.wording import alternative, caption
from necrostats.results import Overlap

MARGIN, CELL, HEADING, INDENT, GAP = 0.06, 0.2, 0.25, 0.11, 0.1
MOST_LABEL = 1.3
DARK = 0.75  # from this share of the deepest colour numbers are white


@chart.register(Overlap)
def _(result: Overlap, *, width: str = "page", **options) -> Figure:
    """Classes across, levels down; the deeper the colour, the larger the share of the class's sessions."""
    redraw = partial(_draw, result.frame)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    remark = "Numbers are sessions; colour is the share of the class's sessions; a cross marks a cell with none"
    return Figure(
        fig=sheet,
        alt=alternative(result, "Counts by class and level"),
        caption=caption(result, remark),
        data=result.frame[["variable", "level", "group", "events", "patients", "n"]],
        redraw=redraw,
    )


def _draw(frame: pd.DataFrame, width: float) -> Drawing:
    groups, variables = in_order(frame["group"]), in_order(frame["variable"])
    levels = {each: in_order(frame.loc[frame["variable"] == each, "level"]) for each in variables}
    names = [plain(level) for each in levels.values() for level in each] + [f"  {each}" for each in variables]
    label = min(max((width_of(each, TEXT, bold=True) for each in names), default=0.5) + INDENT, MOST_LABEL)
    left = MARGIN + label + GAP
    wide = (width - left - MARGIN) / max(len(groups), 1)
    heads, turned = _heads([sentence_case(plain(each)) for each in groups], wide - 0.04)
    tall = 0.08 + (
        max(width_of(each, SMALL) for each in heads)
        if turned
        else 0.14 * (1 + max((each.count("\n") for each in heads), default=0))
    )
    height = 2 * MARGIN + tall + sum(HEADING + CELL * len(each) for each in levels.values())
    sheet = blank(width, max(height, 0.5))
    pen = Pen(sheet)
    if not groups:
        pen.text(MARGIN, 0.25, "No yield counts for any class", fontweight="bold")
    for place, head in enumerate(heads):
        x, look = left + (place + 0.5) * wide, {"size": SMALL, "ha": "center", "color": QUIET}
        if turned:
            pen.text(x, MARGIN + tall - 0.02, head, rotation=90, **look)
        else:
            pen.text(x, MARGIN + 0.12, head, **look)
    at = MARGIN + tall
    for variable in variables:
        pen.text(MARGIN, at + 0.17, sentence_case(plain(variable)), fontweight="bold")
        pen.line((MARGIN, width - MARGIN), (at + 0.04, at + 0.04))
        at += HEADING
        for level in levels[variable]:
            pen.middle(MARGIN + INDENT, at + CELL / 2, wrapped(plain(level), label - INDENT, TEXT, most=1))
            rows = frame[(frame["variable"] == variable) & (frame["level"] == level)]
            _draw_cells(pen, rows, groups, left, at, wide)
            at += CELL
    return sheet


def _heads(names: list[str], wide: float) -> tuple[list[str], bool]:
    """The heads of the columns, broken into lines; or, where a word is wider than its column, upright in one line."""
    if any(width_of(word, SMALL) > wide for name in names for word in name.split(" ")):
        return names, True
    return [wrapped(name, wide, SMALL, most=3) for name in names], False


def _draw_cells(pen: Pen, rows: pd.DataFrame, groups: list, left: float, top: float, wide: float) -> None:
    here = {row.group: row for row in rows.itertuples()}
    for place, group in enumerate(groups):
        if group in here:
            _draw_cell(pen, here[group], left + place * wide, top, wide)


def _draw_cell(pen: Pen, row, x: float, top: float, wide: float) -> None:
    share = row.events / row.n if row.n else 0.0
    deep = min(1.0, 0.12 + share) if row.events else 0.0
    colour = tuple(1 - deep * (1 - each) for each in to_rgb(STYLES[0].colour))
    frame = Rectangle(
        (x + 0.01, pen.height - top - CELL + 0.01),
        wide - 0.02,
        CELL - 0.02,
        transform=pen.sheet.dpi_scale_trans,
        facecolor=colour,
        edgecolor=RULE,
        linewidth=0.4,
    )
    pen.sheet.add_artist(frame)
    text = numbers.count(row.events) if row.events else "×"
    ink = "white" if deep > DARK else INK if row.events else QUIET
    pen.middle(x + wide / 2, top + CELL / 2, text, size=SMALL, ha="center", color=ink)
