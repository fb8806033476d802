"""Draws panels of points with intervals: labels on the left, the numbers on the right, an axis of its own each."""

from __future__ import annotations

from dataclasses import dataclass, replace

from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.ticker import FixedLocator, NullLocator

from necrostats.present.drawing import Pen, Scale, blank, width_of, wrapped
from necrostats.present.style import INK, LINE, QUIET, RULE, SMALL, TEXT, Style

MARGIN = 0.06
GAP = 0.14
INDENT = 0.11
PAD = 0.055
HEADING = 0.24
AXIS = 0.38
BETWEEN = 0.1
KEY = 0.14
LEAST_PLOT = 1.05
MOST_LABEL = {"wide": 2.3, "narrow": 1.15}
NARROW = 5.0


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A point with its interval; hollow where nothing happened. NaN ends are not drawn."""

    estimate: float
    low: float
    high: float
    style: Style
    hollow: bool = False


@dataclass(frozen=True, kw_only=True)
class Row:
    """A line of a panel. Without marks and texts it is a heading."""

    label: str
    indent: int = 0
    bold: bool = False
    marks: tuple[Mark, ...] = ()
    texts: tuple[str, ...] = ()
    starts: bool = False


@dataclass(frozen=True, kw_only=True)
class Panel:
    """Rows on one scale, in one unit; `columns` head the texts on the right, each with its key where there is one."""

    heading: str
    columns: tuple[str, ...]
    rows: tuple[Row, ...]
    scale: Scale
    keys: tuple[Style, ...] = ()

    @property
    def drawn(self) -> bool:
        """Whether any row has a mark, so that the panel needs its axis."""
        return any(row.marks for row in self.rows)

    @property
    def cuts(self) -> bool:
        """Whether a mark or an end of an interval lies beyond the scale and is drawn as an arrow."""
        marks = [mark for row in self.rows for mark in row.marks]
        values = [value for mark in marks for value in (mark.estimate, mark.low, mark.high) if value == value]
        return any(self.scale.clipped(value) != value for value in values)


@dataclass(frozen=True, kw_only=True)
class _Layout:
    """Where things stand, in inches from the left edge."""

    width: float
    label: float
    plot: float
    plot_width: float
    texts: tuple[float, ...]
    stacked: bool


def _texts_of(panels: tuple[Panel, ...], place: int) -> list[str]:
    rows = [row.texts[place] for panel in panels for row in panel.rows if place < len(row.texts)]
    return [panel.columns[place] for panel in panels if place < len(panel.columns)] + rows


def _widths(panels: tuple[Panel, ...]) -> list[float]:
    most = max((len(panel.columns) for panel in panels), default=0)
    key = KEY if any(panel.keys for panel in panels) else 0
    return [max(width_of(text, SMALL) for text in _texts_of(panels, place)) + key for place in range(most)]


def _label_width(panels: tuple[Panel, ...], most: float) -> float:
    wide = [width_of(row.label, TEXT, bold=row.bold) + INDENT * row.indent for panel in panels for row in panel.rows]
    return min(most, max(wide, default=0.5) + 0.02)


def _layout(panels: tuple[Panel, ...], width: float) -> _Layout:
    narrow = width < NARROW
    label = _label_width(panels, MOST_LABEL["narrow" if narrow else "wide"])
    columns = _widths(panels)
    spread = sum(columns) + GAP * len(columns)
    plot = width - 2 * MARGIN - label - GAP - spread
    stacked = len(columns) > 1 and plot < LEAST_PLOT
    if stacked:
        plot = width - 2 * MARGIN - label - 2 * GAP - max(columns)
    at = MARGIN + label + GAP + plot
    ends = [at + GAP + max(columns)] * len(columns) if stacked else _ends(at, columns)
    return _Layout(
        width=width, label=label, plot=MARGIN + label + GAP, plot_width=plot, texts=tuple(ends), stacked=stacked
    )


def _ends(start: float, widths: list[float]) -> list[float]:
    """The right edge of each text column."""
    ends = []
    for width in widths:
        start += GAP + width
        ends.append(start)
    return ends


def _fitted(row: Row, layout: _Layout) -> Row:
    """A row with its label broken to its place, and its texts under each other where there is no room beside."""
    room = layout.label - INDENT * row.indent
    if not row.marks and not row.texts:
        room = layout.width - 2 * MARGIN
    texts = ("\n".join(text for text in row.texts if text),) if layout.stacked and row.texts else row.texts
    label = wrapped(row.label, room, TEXT, bold=row.bold)
    return replace(row, label=label, texts=texts)


def _height(row: Row) -> float:
    lines = max([row.label.count("\n"), *(text.count("\n") for text in row.texts)]) + 1
    return lines * LINE + PAD + (PAD if row.starts else 0)


def _heading_lines(panel: Panel, layout: _Layout) -> int:
    return len(panel.columns) if layout.stacked else 1


def _panel_height(panel: Panel, layout: _Layout) -> float:
    head = HEADING + (_heading_lines(panel, layout) - 1) * LINE
    return head + sum(_height(row) for row in panel.rows) + (AXIS if panel.drawn else 0)


def _draw_interval(axes: Axes, mark: Mark, y: float, scale: Scale) -> None:
    low, high = scale.clipped(mark.low), scale.clipped(mark.high)
    if low == low and high == high:
        axes.plot([low, high], [y, y], color=mark.style.colour, linewidth=1.3, solid_capstyle="butt", zorder=2)
        for end, raw, pointer in ((low, mark.low, "<"), (high, mark.high, ">")):
            cut = end != raw
            axes.plot(
                [end],
                [y],
                marker=pointer if cut else "|",
                color=mark.style.colour,
                zorder=2,
                clip_on=False,
                markersize=4 if cut else 5,
                markeredgewidth=0 if cut else 1.1,
            )


def _draw_mark(axes: Axes, mark: Mark, y: float, scale: Scale) -> None:
    _draw_interval(axes, mark, y, scale)
    point = scale.clipped(mark.estimate)
    if point == point:
        face = "white" if mark.hollow else mark.style.colour
        beyond = "" if point == mark.estimate else ">" if mark.estimate > point else "<"
        axes.plot(
            [point],
            [y],
            marker=beyond or mark.style.marker,
            color=mark.style.colour,
            markerfacecolor=face,
            markersize=4.8,
            markeredgewidth=1.1,
            linestyle="none",
            zorder=3,
            clip_on=False,
        )


def _draw_axes(pen: Pen, panel: Panel, layout: _Layout, top: float, height: float) -> Axes:
    axes = pen.axes(layout.plot, top, layout.plot_width, height)
    scale = panel.scale
    axes.set_xscale("log" if scale.log else "linear")
    axes.set_xlim(scale.low, scale.high)
    axes.set_ylim(0, height)
    ticks = scale.ticks_within(layout.plot_width)
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticks(ticks, [scale.tick_label(tick) for tick in ticks])
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(wrapped(scale.label, layout.plot_width + 0.8, SMALL, most=1), fontsize=SMALL, labelpad=2)
    for tick in ticks:
        axes.axvline(tick, color=RULE, linewidth=0.5, zorder=0)
    if scale.reference is not None:
        axes.axvline(scale.reference, color=INK, linewidth=0.9, zorder=1)
    return axes


def _draw_heading(pen: Pen, panel: Panel, layout: _Layout, top: float) -> float:
    lines = _heading_lines(panel, layout)
    base = top + HEADING - 0.07 + (lines - 1) * LINE
    room = layout.plot + layout.plot_width - MARGIN
    heading = wrapped(panel.heading, room, TEXT + 0.5, bold=True, most=1)
    pen.text(MARGIN, base, heading, size=TEXT + 0.5, fontweight="bold")
    columns = ("\n".join(panel.columns),) if layout.stacked else panel.columns
    for end, column in zip(layout.texts, columns, strict=False):
        first = base - column.count("\n") * LINE
        pen.text(end, first, column, size=SMALL, color=QUIET, ha="right")
    _draw_keys(pen, panel, layout, base)
    bottom = top + HEADING + (lines - 1) * LINE
    pen.line((MARGIN, layout.width - MARGIN), (bottom - 0.02, bottom - 0.02), colour=QUIET)
    return bottom


def _draw_keys(pen: Pen, panel: Panel, layout: _Layout, base: float) -> None:
    """The marker of each group before its column's heading."""
    for place, (style, column) in enumerate(zip(panel.keys, panel.columns, strict=False)):
        line = len(panel.columns) - 1 - place if layout.stacked else 0
        x = layout.texts[place] - width_of(column, SMALL) - 0.08
        y = base - line * LINE - 0.034
        pen.line((x, x), (y, y), colour=style.colour, marker=style.marker, markersize=4.2)


def _draw_row(
    pen: Pen, axes: Axes | None, row: Row, panel: Panel, layout: _Layout, top: float, from_top: float
) -> None:
    extra = PAD if row.starts else 0
    middle = top + extra + (_height(row) - extra) / 2
    weight = "bold" if row.bold else "normal"
    pen.middle(MARGIN + INDENT * row.indent, middle, row.label, fontweight=weight)
    for end, text in zip(layout.texts, row.texts, strict=False):
        pen.middle(end, middle, text, size=SMALL, ha="right")
    for place, mark in enumerate(row.marks if axes else ()):
        shift = (place - (len(row.marks) - 1) / 2) * 0.03
        _draw_mark(axes, mark, axes.get_ylim()[1] - (middle - from_top) - shift, panel.scale)


def draw(panels: tuple[Panel, ...], width: float) -> Drawing:
    """Panels under each other on a sheet so many inches wide and as high as they need."""
    layout = _layout(panels, width)
    fitted = tuple(replace(panel, rows=tuple(_fitted(row, layout) for row in panel.rows)) for panel in panels)
    heights = [_panel_height(panel, layout) for panel in fitted]
    sheet = blank(width, sum(heights) + BETWEEN * (len(panels) - 1) + 2 * MARGIN)
    pen, top = Pen(sheet), MARGIN
    for panel, height in zip(fitted, heights, strict=True):
        start = _draw_heading(pen, panel, layout, top)
        axes = _draw_axes(pen, panel, layout, start, height - (start - top) - AXIS) if panel.drawn else None
        at = start
        for row in panel.rows:
            if row.starts and row is not panel.rows[0]:
                pen.line((MARGIN, layout.width - MARGIN), (at, at))
            _draw_row(pen, axes, row, panel, layout, at, start)
            at += _height(row)
        top += height + BETWEEN
    return sheet
