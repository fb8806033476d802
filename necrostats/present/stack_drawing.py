"""Draws shares stacked on each other, told apart by colour, hatching and order; what remains is left white.

Charts of curves stacked: every end on top of the others, with the share that remains, adding up to all patients.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Rectangle

from necrostats.errors import ChoiceError
from necrostats.present import numbers
from necrostats.present.drawing import Pen, blank, width_of, words_alone, wrapped
from necrostats.present.figures import Figure, check_width
from necrostats.present.numbers import FEWEST_FOR_A_CURVE
from necrostats.present.say_curves import at_start, counted_once
from necrostats.present.style import INK, LINE, QUIET, RULE, SMALL, STYLES, TEXT, drawing
from necrostats.present.wording import alternative, caption, in_order, is_grouped, plain, plural, sentence_case, with_n
from necrostats.results import Curves

MARGIN = 0.06
LEFT = 0.68
KEY = 0.24
HEIGHT = {"wide": 2.3, "narrow": 1.7}
NARROW = 5.0
TITLE, TICKS, GAP, BELOW = 0.2, 0.2, 0.3, 0.14
BAR = 0.78
HATCHES = ("", "////", "....", "xxxx", "----")


@dataclass(frozen=True, kw_only=True)
class Band:
    """The share of one end at each point."""

    heights: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Stack:
    """One group: bands from the bottom at the points `x`, and the numbers at risk at the ticks."""

    title: str
    x: tuple[float, ...]
    bands: tuple[Band, ...]
    ticks: tuple[int, ...]
    at_risk: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Stacks:
    """Stacks on the same axes. `names` are those of the bands from the bottom, and last of what remains."""

    stacks: tuple[Stack, ...]
    names: tuple[str, ...]
    whole: bool
    x_label: str
    remarks: tuple[str, ...]


def _look(place: int) -> dict:
    style = STYLES[place % len(STYLES)]
    return {"facecolor": style.colour, "edgecolor": "white", "hatch": HATCHES[place % len(HATCHES)], "linewidth": 0.4}


def _span(grid: Stacks) -> tuple[float, float]:
    last = max((max((*stack.ticks, *stack.x), default=1) for stack in grid.stacks), default=1)
    return (-0.5, last + 0.5) if grid.whole else (0.0, last or 1.0)


def _levels(stack: Stack) -> list[tuple[np.ndarray, np.ndarray]]:
    """Bottom and top of each band."""
    tops = np.cumsum([band.heights for band in stack.bands], axis=0)
    return list(zip(np.vstack([np.zeros(len(stack.x)), tops[:-1]]), tops, strict=True))


def _draw_bars(axes: Axes, stack: Stack) -> None:
    for place, (bottom, top) in enumerate(_levels(stack)):
        axes.bar(stack.x, top - bottom, bottom=bottom, width=BAR, zorder=2, **_look(place))
    axes.bar(stack.x, np.ones(len(stack.x)), width=BAR, facecolor="none", edgecolor=QUIET, linewidth=0.5, zorder=3)


def _draw_areas(axes: Axes, stack: Stack) -> None:
    for place, (bottom, top) in enumerate(_levels(stack)):
        axes.fill_between(stack.x, bottom, top, step="post", zorder=2, **_look(place))
        axes.step(stack.x, top, where="post", color=INK, linewidth=0.6, zorder=3)


def _draw_axes(axes: Axes, grid: Stacks, stack: Stack, first: bool) -> None:
    axes.set_xlim(*_span(grid))
    axes.set_ylim(0, 1)
    axes.set_xticks(list(stack.ticks), [str(tick) for tick in stack.ticks])
    shares = (0, 0.2, 0.4, 0.6, 0.8, 1)
    axes.set_yticks(shares, [f"{share * 100:.0f} %" for share in shares] if first else [""] * len(shares))
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=RULE, linewidth=0.5)


def _draw_key(pen: Pen, names: list[str], left: float, top: float) -> None:
    """Names from the top, in the order in which they lie on each other, each with a sample."""
    for line, place in enumerate(reversed(range(len(names)))):
        y = top + 0.12 + 2 * line * LINE
        look = _look(place) if place < len(names) - 1 else {"facecolor": "white", "edgecolor": QUIET, "linewidth": 0.5}
        pen.sheet.add_artist(
            Rectangle((left, pen.height - y - 0.07), KEY - 0.06, 0.14, transform=pen.sheet.dpi_scale_trans, **look)
        )
        pen.middle(left + KEY, y, names[place])


def _draw_stack(pen: Pen, grid: Stacks, stack: Stack, box: tuple[float, float, float, float], first: bool) -> None:
    left, top, width, height = box
    pen.text(left, top - 0.08, wrapped(stack.title, width, SMALL, bold=True, most=1), size=SMALL, fontweight="bold")
    axes = pen.axes(left, top, width, height)
    (_draw_bars if grid.whole else _draw_areas)(axes, stack)
    _draw_axes(axes, grid, stack, first)
    low, high = _span(grid)
    y = top + height + TICKS + LINE / 2
    if first:
        pen.middle(left - 0.16, y, "At risk", size=SMALL, color=QUIET, ha="right")
    last = -math.inf
    for tick, count in zip(stack.ticks, stack.at_risk, strict=True):
        x = left + (tick - low) / (high - low) * width
        if x - width_of(count, SMALL) / 2 > last:
            pen.middle(x, y, count, size=SMALL, ha="center")
            last = x + width_of(count, SMALL) / 2 + 0.05


def draw(grid: Stacks, width: float) -> Drawing:
    """The stacks on a sheet so many inches wide, the key beside them, or above where there is no room."""
    size = "narrow" if width < NARROW else "wide"
    names = [wrapped(name, 1.5, TEXT, most=2) for name in grid.names]
    beside = width >= NARROW
    key = max(width_of(name, TEXT) for name in names) + KEY + 0.1
    head = MARGIN + LINE + TITLE + (0 if beside else 2 * LINE * len(names) + 0.1)
    columns = 1 if not beside else min(max(len(grid.stacks), 1), 3)
    plot = (width - LEFT - MARGIN - (key + 0.15 if beside else 0.05) - GAP * (columns - 1)) / columns
    step = HEIGHT[size] + TICKS + LINE + TITLE + BELOW
    rows = max(1, math.ceil(len(grid.stacks) / columns))
    remarks = [wrapped(remark, width - 2 * MARGIN, SMALL) for remark in grid.remarks]
    bottom = head + rows * step
    pen = Pen(blank(width, bottom + LINE * (0.3 + sum(1 + text.count("\n") for text in remarks)) + 0.1))
    pen.text(MARGIN, MARGIN + 0.11, "Share of patients, %")
    for place, stack in enumerate(grid.stacks):
        row, column = divmod(place, columns)
        box = (LEFT + column * (plot + GAP), head + row * step, plot, HEIGHT[size])
        _draw_stack(pen, grid, stack, box, column == 0)
    at = (width - MARGIN - key, head) if beside else (LEFT, MARGIN + LINE + 0.05)
    _draw_key(pen, names, *at)
    pen.middle(LEFT + (plot * columns + GAP * (columns - 1)) / 2, bottom - BELOW - TITLE / 2, grid.x_label, ha="center")
    pen.text(MARGIN, bottom + 0.5 * LINE, "\n".join(remarks), size=SMALL, color=QUIET)
    return pen.sheet


STILL_TREATED = "still under treatment"
UNREPORTED = "not to report"


def figure_of(result: Curves, width: str) -> Figure:
    """The stacked figure of cumulative incidences; ChoiceError for curves that do not add up to one."""
    if result.falling or any(str(cause).startswith(UNREPORTED) for cause in in_order(result.frame["cause"])):
        raise ChoiceError(f'"{result.title}" cannot be stacked: its curves are not shares of one whole.')
    groups = in_order(result.frame["group"])
    drawn = [group for group in groups if _n(result, group) >= FEWEST_FOR_A_CURVE]
    remarks = tuple(_remark(result, group) for group in groups if group not in drawn)
    grid = Stacks(
        stacks=tuple(_stack(result, group) for group in drawn),
        names=(*map(plain, _ends(result)), _left(result)),
        whole=result.axis == "sessions",
        x_label=_across(result),
        remarks=remarks or (() if drawn else ("Nobody at risk",)),
    )
    said = f"{result.title}: {'; '.join(grid.remarks)}."
    redraw, inches = partial(draw, grid) if drawn else partial(words_alone, said), check_width(width)
    with drawing():
        sheet = redraw(inches)
    return Figure(
        fig=sheet,
        alt=alternative(result, "Stacked shares"),
        data=_data(result, drawn),
        redraw=redraw,
        caption=_caption(result, grid) if drawn else "",
    )


def _caption(result: Curves, grid: Stacks) -> str:
    return caption(result, "From the bottom: " + ", ".join(grid.names), counted_once(result), *grid.remarks)


def _ends(result: Curves) -> list:
    return [cause for cause in in_order(result.frame["cause"]) if cause != result.remaining]


def _left(result: Curves) -> str:
    return plain(result.remaining) if result.remaining else STILL_TREATED


def _across(result: Curves) -> str:
    if result.axis == "sessions":
        return "Necrosectomy sessions"
    return "Days from index drainage" if "index drainage" in result.method.estimand else "Days"


def _rows(result: Curves, group: object, cause: object) -> pd.DataFrame:
    """The rows of one end that are known, up to the last landmark."""
    table, last = result.frame, max(result.landmarks, default=float("inf"))
    rows = table[(table["group"] == group) & (table["cause"] == cause) & (table[result.axis] <= last)]
    return rows.dropna(subset=["estimate"]).sort_values(result.axis, kind="stable")


def _n(result: Curves, group: object) -> int:
    rows = result.frame[result.frame["group"] == group]
    return at_start(rows) if len(rows) else 0


def _stack(result: Curves, group: object) -> Stack:
    bands = [_rows(result, group, cause) for cause in _ends(result)]
    first = bands[0]
    x = tuple(first[result.axis].astype(float))
    risk = dict(zip(first[result.axis], first["at_risk"], strict=True))
    ticks = tuple(sorted({0, *result.landmarks})) if result.landmarks else tuple(first[result.axis])
    return Stack(
        title=with_n(plain(group) if is_grouped(result.frame) else "All patients", numbers.count(_n(result, group))),
        x=x,
        bands=tuple(Band(heights=tuple(rows["estimate"].astype(float))) for rows in bands),
        ticks=ticks,
        at_risk=tuple(numbers.count(risk.get(tick, 0)) for tick in ticks),
    )


def _remark(result: Curves, group: object) -> str:
    name, n = f"{plain(group)}: " if is_grouped(result.frame) else "", _n(result, group)
    return sentence_case(f"{name}{n} {plural(n, 'patients')}, too few for a figure" if n else f"{name}nobody at risk")


def _data(result: Curves, drawn: list) -> pd.DataFrame:
    causes = in_order(result.frame["cause"])
    kept = [_rows(result, group, cause) for group in drawn for cause in causes]
    columns = ["group", "cause", result.axis, *Curves.columns[2:]]
    return (pd.concat(kept) if kept else result.frame.iloc[:0])[columns].reset_index(drop=True)
