"""Draws one contrast estimated in many ways: the estimates in order, and below each what went into it."""

from __future__ import annotations

from functools import partial

import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.ticker import FixedLocator, NullLocator

from necrostats.present import numbers
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.labels import plain, width_of, wrapped
from necrostats.present.pen import Pen, blank
from necrostats.present.scales import Scale, logarithmic
from necrostats.present.style import INK, QUIET, RULE, SMALL, STYLES, TEXT, drawing
from necrostats.present.wording import alternative, caption
from necrostats.results import Specifications

MARGIN, GAP, LINE, HEADING, TALL = 0.06, 0.12, 0.165, 0.26, 1.75
MOST_LABEL = {"wide": 2.5, "narrow": 1.2}
NARROW = 5.0
LIMITS = ["estimate", "low", "high"]
WITHIN = "within patients"
PARTS = (("rule", "Shared sessions"), ("adjusted_for", "Adjusted for"))


@chart.register(Specifications)
def _(result: Specifications, *, width: str = "page", **options) -> Figure:
    """Every estimate, sorted, and below it the rule and the adjustments; the ones to be judged by are full."""
    redraw = partial(_draw, result)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    remark = "The horizontal line marks no difference; filled: adjusted for everything, by which the verdict goes"
    return Figure(
        fig=sheet,
        alt=alternative(result, "Estimates in order with what went into them"),
        caption=caption(result, remark),
        data=result.frame.drop(columns="p_value"),
        redraw=redraw,
    )


def _draw(result: Specifications, width: float) -> Drawing:
    frame = result.frame[result.frame["estimate"].notna()].reset_index(drop=True)
    if frame.empty:
        return _nothing(width)
    most = MOST_LABEL["narrow" if width < NARROW else "wide"]
    names = {part: _names(frame, part) for part, _ in PARTS}
    labels = {part: [wrapped(plain(each), most, SMALL, most=2) for each in names[part]] for part in names}
    left = MARGIN + max(width_of(each, SMALL) for part in labels.values() for each in part) + GAP
    plot = width - left - MARGIN
    below = sum(HEADING + sum(_tall(each) for each in part) for part in labels.values())
    sheet = blank(width, 2 * MARGIN + HEADING + TALL + 0.08 + below)
    pen = Pen(sheet)
    heading = wrapped(f"Ratio of yields, {_pair(frame)}", width - 2 * MARGIN, TEXT + 0.5, bold=True, most=1)
    pen.text(MARGIN, MARGIN + 0.14, heading, size=TEXT + 0.5, fontweight="bold")
    top = MARGIN + HEADING
    _draw_estimates(pen.axes(left, top, plot, TALL), frame, _scale(frame))
    at = top + TALL + 0.08
    for part, title in PARTS:
        pen.text(MARGIN, at + 0.16, title, fontweight="bold")
        pen.line((MARGIN, width - MARGIN), (at + 0.03, at + 0.03))
        at += HEADING
        for name, label in zip(names[part], labels[part], strict=True):
            middle = at + _tall(label) / 2
            pen.middle(MARGIN, middle, label, size=SMALL)
            _draw_marks(pen, frame, part, name, left, plot, middle)
            at += _tall(label)
    return sheet


def _nothing(width: float) -> Drawing:
    sheet = blank(width, HEADING + 2 * MARGIN)
    Pen(sheet).text(MARGIN, MARGIN + 0.14, "No ratio could be estimated in any way", fontweight="bold")
    return sheet


def _ingredients(row, part: str) -> tuple[str, ...]:
    """The rule, or each adjustment by itself."""
    value = str(getattr(row, part))
    return (value,) if part == "rule" else tuple(each for each in value.split(", ") if each != "nothing")


def _names(frame: pd.DataFrame, part: str) -> list[str]:
    """Everything that went into any estimate, in its order; within patients last."""
    order = list(
        dict.fromkeys(each for row in frame.sort_values(part).itertuples() for each in _ingredients(row, part))
    )
    return sorted(order, key=lambda each: each == WITHIN)


def _tall(label: str) -> float:
    return LINE * (1 + label.count("\n"))


def _pair(frame: pd.DataFrame) -> str:
    return f"{plain(frame['group'].iloc[0])} v {plain(frame['reference'].iloc[0])}"


def _scale(frame: pd.DataFrame) -> Scale:
    shown = frame[LIMITS].to_numpy(dtype=float)
    return logarithmic(shown[:, 0], shown[:, 1:].ravel(), label="ratio, log scale", reference=1.0)


def _draw_estimates(axes: Axes, frame: pd.DataFrame, scale: Scale) -> None:
    axes.set_yscale("log")
    axes.set_ylim(scale.low, scale.high)
    axes.set_xlim(-0.7, len(frame) - 0.3)
    ticks = scale.ticks_within(TALL)
    axes.yaxis.set_major_locator(FixedLocator(ticks))
    axes.yaxis.set_minor_locator(NullLocator())
    axes.set_yticks(ticks, [scale.tick_label(tick) for tick in ticks])
    axes.set_xticks([])
    axes.spines["bottom"].set_visible(False)
    for tick in ticks:
        axes.axhline(tick, color=RULE, linewidth=0.5, zorder=0)
    axes.axhline(1.0, color=INK, linewidth=0.9, zorder=1)
    for place, row in enumerate(frame.itertuples()):
        style = STYLES[0] if row.main else STYLES[4]
        look = {"color": style.colour if row.main else QUIET, "zorder": 3}
        if numbers.known(row.low):
            ends = [scale.clipped(row.low), scale.clipped(row.high)]
            axes.plot([place, place], ends, linewidth=1.6 if row.main else 0.9, solid_capstyle="butt", **look)
        face = style.colour if row.main else "white"
        axes.plot([place], [row.estimate], marker="o", markersize=4.6, markerfacecolor=face, markeredgewidth=1, **look)


def _draw_marks(pen: Pen, frame: pd.DataFrame, part: str, name: object, left, plot: float, middle: float) -> None:
    """A mark under every estimate into which this rule or adjustment went."""
    step = plot / (len(frame) + 0.4)
    pen.line((left, left + plot), (middle, middle), linewidth=0.4)
    for place, row in enumerate(frame.itertuples()):
        if name in _ingredients(row, part):
            x = left + (place + 0.7) * step
            colour = STYLES[0].colour if row.main else QUIET
            pen.line((x, x), (middle, middle), colour=colour, marker="s", markersize=3.6, linestyle="none")
