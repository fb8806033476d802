"""Draws step curves in panels: shaded intervals, labels at the lines, numbers at risk under the axis."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.patches import Rectangle

from necrostats.present.drawing import Pen, blank, spread, width_of, wrapped
from necrostats.present.style import INK, LINE, QUIET, RULE, SMALL, TEXT, Style

MARGIN = 0.06
HANDLE = {"wide": 0.26, "narrow": 0.17}
LEADER = {"wide": 0.14, "narrow": 0.1}
TITLE = 0.2
TICKS = 0.2
HEIGHT = {"page": 2.6, "column": 1.9, "facet": 0.95}
NARROW = 5.0
FACET_GAP = 0.32
NAME_GAP = 0.06
APART, APART_GAP = 0.85, 0.17


@dataclass(frozen=True, kw_only=True)
class Curve:
    """A right-continuous step curve with its interval, from `start` at 0, faint where few are at risk.

    `boxes` (first, last, low, high) stand where the curve may run anywhere within: there `y` is NaN.
    """

    label: str
    style: Style
    bold: bool
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    faint_from: float
    start: float = 0.0
    boxes: tuple[tuple[float, float, float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class RiskRow:
    """The numbers at risk of one group, one for each tick."""

    label: str
    counts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Panel:
    """Curves on one pair of axes; `behind` are drawn in grey, `apart` below them on a scale of their own."""

    title: str
    curves: tuple[Curve, ...]
    risk: tuple[RiskRow, ...]
    behind: tuple[Curve, ...] = ()
    apart: tuple[Curve, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Panels on the same axes. `whole`: the axis counts whole things, so a step is drawn half a unit further."""

    panels: tuple[Panel, ...]
    ticks: tuple[int, ...]
    horizon: float
    whole: bool
    x_label: str
    y_label: str
    remarks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class _Layout:
    """Sizes in inches."""

    left: float
    plot_width: float
    plot_height: float
    columns: int
    panel_height: float
    leader: float
    handle: float
    label: float
    y_label: str
    remarks: str
    title: float
    ticks: tuple[int, ...]
    apart: float


def _widest(labels: list[str], size: float, most: float, *, bold: bool = False) -> float:
    return min(most, max((width_of(label, size, bold=bold) for label in labels), default=0))


def _risk_lines(grid: Grid) -> int:
    rows = max(len(panel.risk) for panel in grid.panels)
    return rows + (rows > 1)


def _layout(grid: Grid, width: float) -> _Layout:
    narrow, facets = width < NARROW, len(grid.panels) > 1
    size = "narrow" if narrow else "wide"
    at_risk = [row.label for panel in grid.panels for row in panel.risk]
    names = [curve.label for panel in grid.panels for curve in (*panel.curves, *panel.apart) if curve.label]
    left = MARGIN + max(0.42, _widest(at_risk, SMALL, 0.62 if narrow else 1.5) + 0.2)
    label = _widest(names, TEXT, 0.72 if narrow else 1.7, bold=True)
    right = label + LEADER[size] + HANDLE[size] + NAME_GAP if names else 0.12
    columns = (2 if narrow else 4) if facets else 1
    plot = (width - left - right - FACET_GAP * (columns - 1) - MARGIN) / columns
    height = HEIGHT["facet" if facets else "column" if narrow else "page"]
    titles = [wrapped(panel.title, plot, SMALL, bold=True, most=2) for panel in grid.panels]
    title = (TITLE + LINE * max(text.count("\n") for text in titles)) * facets
    apart = APART * any(panel.apart for panel in grid.panels)
    inside = title + height + apart + TICKS + LINE * (not facets)
    return _Layout(
        left=left,
        plot_width=plot,
        plot_height=height,
        columns=columns,
        title=title,
        leader=LEADER[size],
        handle=HANDLE[size],
        panel_height=inside + _risk_lines(grid) * LINE + 0.1,
        label=label,
        y_label=wrapped(grid.y_label, width - 2 * MARGIN, TEXT, most=2),
        remarks="\n".join(wrapped(remark, width - 2 * MARGIN, SMALL) for remark in grid.remarks),
        ticks=_kept_ticks(grid, plot),
        apart=apart,
    )


def _vertices(curve: Curve, values: tuple[float, ...], stop: float) -> tuple[np.ndarray, np.ndarray]:
    """The corners of a right-continuous step curve from its start at 0 to `stop`."""
    x = np.concatenate([[0.0], np.repeat(np.array(curve.x, dtype=float), 2), [stop]])
    y = np.concatenate([[curve.start, curve.start], np.repeat(np.array(values, dtype=float), 2)])
    return x, y


def _split(x: np.ndarray, y: np.ndarray, at: float) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
    """The corners up to a point and those after it, joined there."""
    if at >= x[-1]:
        return ((x, y),)
    if at < x[0]:
        return ((x[:0], y[:0]), (x, y))
    before = int(np.searchsorted(x, at, side="right"))
    joint = y[before - 1]
    first = np.append(x[:before], at), np.append(y[:before], joint)
    return first, (np.insert(x[before:], 0, at), np.insert(y[before:], 0, joint))


def _shade(axes: Axes, curve: Curve, stop: float, alpha: float) -> None:
    x, low = _vertices(curve, curve.low, stop)
    _, high = _vertices(curve, curve.high, stop)
    held = np.isfinite(low) & np.isfinite(high)
    axes.fill_between(x, low, high, where=held, color=curve.style.colour, alpha=alpha, linewidth=0, zorder=1)


def _draw_curve(axes: Axes, curve: Curve, stop: float, *, behind: bool = False) -> None:
    x, y = _vertices(curve, curve.y, stop)
    heavy = 0.7 if behind else 2.0 if curve.bold else 1.3
    for place, (across, up) in enumerate(_split(x, y, curve.faint_from)):
        axes.plot(
            across,
            up,
            color=curve.style.colour,
            linestyle=curve.style.line,
            clip_on=False,
            linewidth=heavy * (0.6 if place and not behind else 1),
            alpha=0.55 if place and not behind else 1,
            zorder=2 if behind else 3,
            solid_capstyle="butt",
            solid_joinstyle="miter",
            dash_joinstyle="miter",
        )


def _draw_boxes(axes: Axes, curve: Curve) -> None:
    for first, last, low, high in curve.boxes:
        size = (last - first, high - low)
        look = {"facecolor": curve.style.colour, "edgecolor": curve.style.colour, "linewidth": 0.6, "alpha": 0.35}
        axes.add_patch(Rectangle((first, low), *size, zorder=2, **look))


def _tick_widths(grid: Grid) -> list[float]:
    """The room each tick needs for its own label and for the numbers under it in every panel."""
    rows = [row.counts for panel in grid.panels for row in panel.risk]
    columns = [[str(tick), *(counts[place] for counts in rows)] for place, tick in enumerate(grid.ticks)]
    return [max(width_of(text, SMALL) for text in texts) for texts in columns]


def _kept_ticks(grid: Grid, plot_width: float) -> tuple[int, ...]:
    """The places of the ticks that leave room for what stands under them.

    Where they lie evenly every second or third, evenly; else the last, the first, and what fits from the left.
    """
    low, high = _span(grid)
    wide, places = _tick_widths(grid), range(len(grid.ticks))
    at = [(tick - low) / (high - low) * plot_width for tick in grid.ticks]

    def free(place: int, kept: list[int]) -> bool:
        return all(abs(at[place] - at[other]) > (wide[place] + wide[other]) / 2 + 0.07 for other in kept)

    if grid.whole or len({b - a for a, b in pairwise(grid.ticks)}) == 1:
        even = (places[::step] for step in range(1, len(places) + 1))
        return tuple(next((kept for kept in even if all(free(b, [a]) for a, b in pairwise(kept))), places[:1]))
    kept: list[int] = []
    for place in dict.fromkeys([*places[-1:], *places]):
        if free(place, kept):
            kept.append(place)
    return tuple(sorted(kept))


def _draw_axes(axes: Axes, grid: Grid, ticks: tuple[int, ...], span: tuple[float, float], first: bool) -> None:
    axes.set_xlim(*span)
    axes.set_ylim(0, 1)
    axes.set_xticks([grid.ticks[place] for place in ticks], [str(grid.ticks[place]) for place in ticks])
    shares = (0, 0.5, 1) if len(grid.panels) > 1 else (0, 0.2, 0.4, 0.6, 0.8, 1)
    axes.set_yticks(shares, [f"{share * 100:.0f} %" for share in shares] if first else [""] * len(shares))
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=RULE, linewidth=0.5)


def _draw_labels(
    pen: Pen, curves: tuple[Curve, ...], layout: _Layout, at: tuple[float, float], height: float, top_share: float = 1.0
) -> None:
    """A label for each curve beside its end, with a short sample of its line.

    `at`: top left corner of the axes, which are `height` inches high and end at `top_share`.
    """
    left, top = at
    named = [curve for curve in curves if curve.label]
    texts = [wrapped(curve.label, layout.label, TEXT, bold=curve.bold) for curve in named]
    ends = [next((y for y in reversed(curve.y) if math.isfinite(y)), 0.0) for curve in named]
    wanted = [min(y / top_share, 1.0) * height for y in ends]
    sizes = [(text.count("\n") + 1) * LINE + 0.03 for text in texts]
    centres = spread(wanted, sizes, -0.12, height + 0.1)
    edge = left + layout.plot_width
    for curve, text, goal, centre in zip(named, texts, wanted, centres, strict=True):
        y, from_y = top + height - centre, top + height - goal
        start = left + layout.plot_width + layout.leader
        pen.line((edge + 0.02, start - 0.02), (from_y, y), colour=QUIET, linewidth=0.5)
        look = {"linestyle": curve.style.line, "linewidth": 2.0 if curve.bold else 1.3}
        pen.line((start, start + layout.handle), (y, y), colour=curve.style.colour, **look)
        weight = "bold" if curve.bold else "normal"
        pen.middle(start + layout.handle + NAME_GAP, y, text, fontweight=weight)


def _draw_risk(pen: Pen, panel: Panel, grid: Grid, layout: _Layout, at: tuple[float, float], first: bool) -> None:
    """`at`: left edge of the axes, and the top of the first line."""
    left, top = at
    span = _span(grid)
    if len(panel.risk) > 1:
        pen.middle(left - 0.16, top + LINE / 2, "At risk", size=SMALL, color=QUIET, ha="right")
        top += LINE
    for place, row in enumerate(panel.risk):
        y = top + (place + 0.5) * LINE
        if first:
            label = wrapped(row.label, layout.left - 0.2 - MARGIN, SMALL, most=1)
            pen.middle(left - 0.16, y, label, size=SMALL, color=INK, ha="right")
        for tick in layout.ticks:
            x = left + (grid.ticks[tick] - span[0]) / (span[1] - span[0]) * layout.plot_width
            pen.middle(x, y, row.counts[tick], size=SMALL, ha="center")


def _span(grid: Grid) -> tuple[float, float]:
    stop = grid.horizon + (0.5 if grid.whole else 0)
    stop = stop or 1.0
    return -0.012 * stop, stop


def _draw_apart(pen: Pen, grid: Grid, panel: Panel, layout: _Layout, at: tuple[float, float]) -> None:
    """The curves that would lie along the bottom, on axes of their own; `at`: their top left corner."""
    height, most = APART - APART_GAP, _top_of(panel.apart)
    axes, span = pen.axes(*at, layout.plot_width, height), _span(grid)
    _draw_axes(axes, grid, layout.ticks, span, True)
    axes.set_ylim(0, most)
    axes.set_yticks([0, most / 2, most], [f"{100 * share:g} %" for share in (0, most / 2, most)])
    for curve in panel.apart:
        _shade(axes, curve, span[1], 0.1)
        _draw_curve(axes, curve, span[1])
    _draw_labels(pen, panel.apart, layout, at, height, most)


def _top_of(curves: tuple[Curve, ...]) -> float:
    """An even share above every curve; their intervals may go beyond."""
    highest = max((y for curve in curves for y in curve.y if math.isfinite(y)), default=0.0)
    return next((share for share in (0.02, 0.04, 0.1, 0.2, 0.3) if share >= 1.25 * highest), 1.0)


def _draw_panel(pen: Pen, grid: Grid, panel: Panel, layout: _Layout, at: tuple[float, float], first: bool) -> None:
    left, top = at
    facets = len(grid.panels) > 1
    if facets:
        title = wrapped(panel.title, layout.plot_width, SMALL, bold=True, most=2)
        first_line = top + layout.title - 0.06 - LINE * title.count("\n")
        pen.text(left, first_line, title, size=SMALL, fontweight="bold")
        top += layout.title
    axes = pen.axes(left, top, layout.plot_width, layout.plot_height)
    span = _span(grid)
    _draw_axes(axes, grid, layout.ticks, span, first)
    for curve in panel.behind:
        _draw_curve(axes, curve, span[1], behind=True)
    for curve in panel.curves:
        _shade(axes, curve, span[1], 0.14 if len(panel.curves) < 3 else 0.1)
        _draw_boxes(axes, curve)
        _draw_curve(axes, curve, span[1])
    _draw_labels(pen, panel.curves, layout, (left, top), layout.plot_height)
    if panel.apart:
        axes.tick_params(axis="x", labelbottom=False)
        _draw_apart(pen, grid, panel, layout, (left, top + layout.plot_height + APART_GAP))
        top += layout.apart
    if not panel.curves and not facets:
        middle = left + layout.plot_width / 2, top + layout.plot_height / 2
        pen.middle(*middle, "Nothing can be drawn: see below", color=QUIET, ha="center")
    below = top + layout.plot_height + TICKS + 0.02
    if not facets:
        pen.middle(left + layout.plot_width / 2, below + LINE / 2 - 0.02, grid.x_label, ha="center")
        below += LINE
    _draw_risk(pen, panel, grid, layout, (left, below), first)


def draw(grid: Grid, width: float) -> Drawing:
    """The panels of a grid on a sheet so many inches wide and as high as they need."""
    layout = _layout(grid, width)
    rows = math.ceil(len(grid.panels) / layout.columns)
    head = MARGIN + (layout.y_label.count("\n") + 1) * LINE + 0.1
    facets, lines = len(grid.panels) > 1, layout.remarks.count("\n") + 1 if layout.remarks else 0
    bottom = head + rows * layout.panel_height
    pen = Pen(blank(width, bottom + LINE * (facets + lines) + 0.06 + MARGIN))
    pen.text(MARGIN, MARGIN + 0.11, layout.y_label)
    for place, panel in enumerate(grid.panels):
        row, column = divmod(place, layout.columns)
        left = layout.left + column * (layout.plot_width + FACET_GAP)
        _draw_panel(pen, grid, panel, layout, (left, head + row * layout.panel_height), column == 0)
    if facets:
        middle = (layout.left + width - MARGIN) / 2
        pen.middle(middle, bottom + LINE / 2, grid.x_label, ha="center")
    pen.text(MARGIN, bottom + LINE * (facets + 1), layout.remarks, size=SMALL, color=QUIET)
    return pen.sheet
