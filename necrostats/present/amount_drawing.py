"""Draws every yield of every class on one axis, the patients treated with both classes linked, and the means."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing
from matplotlib.ticker import FixedLocator, NullLocator

from necrostats.present import numbers
from necrostats.present.drawing import Pen, Scale, blank, from_zero, logarithmic, width_of, wrapped
from necrostats.present.figures import Figure, check_width
from necrostats.present.style import BACKDROP, INK, QUIET, RULE, SMALL, STYLES, TEXT, Style, drawing
from necrostats.present.wording import alternative, caption, in_order, plain, plural, sentence_case
from necrostats.results import YieldComparison

MARGIN, GAP, ROW, HEADING, AXIS, NONE = 0.06, 0.14, 0.44, 0.26, 0.4, 0.34
MOST_LABEL = {"wide": 1.75, "narrow": 1.0}
NARROW = 5.0
SPREAD = 0.2  # how far points are moved up or down from the middle of their row, in rows
GOLDEN = 0.618034
MEAN_AT = 0.36  # rows below the middle


@dataclass(frozen=True, kw_only=True, eq=False)
class _Row:
    """One class: its label, its mean in words, its yields, and the mean with its limits."""

    group: str
    label: str
    text: str
    points: pd.DataFrame
    mean: tuple[float, float, float]
    style: Style


@dataclass(frozen=True, kw_only=True, eq=False)
class _Sheet:
    """Everything to be drawn, without a width."""

    rows: tuple[_Row, ...]
    scale: Scale
    heading: str
    column: str
    linked: tuple[str, str]
    nothing: bool


def amounts_figure(result: YieldComparison, width: str) -> Figure:
    """The figure of all yields that count, class by class."""
    sheet = _sheet(result)
    redraw = partial(_draw, sheet)
    inches = check_width(width)
    with drawing():
        drawn = redraw(inches)
    remarks = [
        "Each mark is a session; a bar is a yield written as a range, an arrow one written as less or more than a "
        "number; black: mean with its interval, of sessions with some yield",
        _of_links(sheet),
    ]
    return Figure(
        fig=drawn,
        alt=alternative(result, "Yields of single sessions"),
        caption=caption(result, *remarks),
        data=result.amounts,
        redraw=redraw,
    )


def _of_links(sheet: _Sheet) -> str:
    if not all(sheet.linked):
        return ""
    return f"grey lines link the sessions of patients treated with both {' and '.join(map(plain, sheet.linked))}"


def _sheet(result: YieldComparison) -> _Sheet:
    amounts, cells = result.amounts, result.cells
    order = [each for each in (result.chosen, result.reference) if each]
    order += [each for each in cells["instrument_class"] if each not in order]
    counted = [each for each in order if (amounts["group"] == each).any()]
    rows = tuple(_row(result, each, place) for place, each in enumerate(counted))
    unit = plain(in_order(result.frame["variable"])[0]).rpartition(", ")[2] if len(result.frame) else ""
    ends = amounts[["low", "high"]].to_numpy(dtype=float).ravel()
    ends = ends[np.isfinite(ends) & (ends > 0)]
    cleared = "cleared" in unit
    scale = (
        from_zero(ends, label=unit, most=100.0)
        if cleared
        else logarithmic(ends, [], label=f"{unit}, log scale".lstrip(", "))
    )
    return _Sheet(
        rows=rows,
        scale=scale,
        heading="Yield of each session" if rows else "No yield counts for any class",
        column=f"mean ({numbers.interval_name(result.method.level)})",
        linked=(result.chosen, result.reference),
        nothing=bool(((amounts["low"] == 0) & (amounts["high"] == 0)).any()) and not cleared,
    )


def _row(result: YieldComparison, group: str, place: int) -> _Row:
    points = result.amounts[result.amounts["group"] == group]
    cell = next(result.cells[result.cells["instrument_class"] == group].itertuples())
    patients, sessions = cell.patients_counted, cell.sessions_counted
    known = numbers.known(cell.mean)
    text = f"{numbers.amount(cell.mean)} ({numbers.amount_range(cell.mean, cell.low, cell.high)})" if known else ""
    base = f"{patients} {plural(patients, 'patients')}, {sessions} {plural(sessions, 'sessions')}"
    return _Row(
        group=group,
        label=f"{sentence_case(plain(group))}\n{base}",
        text=text or "not estimated",
        points=points,
        mean=(cell.mean, cell.low, cell.high),
        style=STYLES[place] if place < 2 and all((result.chosen, result.reference)) else STYLES[4],
    )


@dataclass(frozen=True, kw_only=True)
class _Layout:
    """Inches from the left edge: the strip for no yield and the axis, how wide they are; whether means are written."""

    labels: tuple[str, ...]
    left: float
    none: float
    plot: float
    means: bool


def _layout(sheet: _Sheet, width: float) -> _Layout:
    """In a narrow figure the means are drawn and not written."""
    narrow = width < NARROW
    labels = [_label(row.label, MOST_LABEL["narrow" if narrow else "wide"]) for row in sheet.rows]
    left = MARGIN + max((width_of(each, TEXT) for each in labels), default=0.5) + GAP
    texts = [] if narrow else [sheet.column, *(row.text for row in sheet.rows)]
    text = max((width_of(each, SMALL) + GAP for each in texts), default=0.0)
    none = NONE * sheet.nothing
    plot = width - left - none - GAP - text - MARGIN
    return _Layout(labels=tuple(labels), left=left, none=none, plot=plot, means=not narrow)


def _draw(sheet: _Sheet, width: float) -> Drawing:
    layout, tall = _layout(sheet, width), ROW * len(sheet.rows)
    drawn = blank(width, HEADING + tall + (AXIS if sheet.rows else 0) + 2 * MARGIN)
    pen, top = Pen(drawn), MARGIN + HEADING
    pen.text(MARGIN, top - 0.09, sheet.heading, size=TEXT + 0.5, fontweight="bold")
    pen.line((MARGIN, width - MARGIN), (top - 0.02, top - 0.02), colour=QUIET)
    if not sheet.rows:
        return drawn
    _draw_labels(pen, sheet, layout, top)
    axes = _axes(pen, sheet, layout.left + layout.none, top, layout.plot, tall)
    _draw_links(axes, sheet)
    for place, row in enumerate(sheet.rows):
        _draw_points(axes, row, place, sheet.scale)
        _draw_mean(axes, row, place, sheet.scale)
    return drawn


def _draw_labels(pen: Pen, sheet: _Sheet, layout: _Layout, top: float) -> None:
    """What stands beside the axis: the classes, how many sessions had no yield, and the means."""
    end = pen.width - MARGIN
    if layout.means:
        pen.text(end, top - 0.09, sheet.column, size=SMALL, color=QUIET, ha="right")
    for place, (row, name) in enumerate(zip(sheet.rows, layout.labels, strict=True)):
        middle = top + ROW * (place + 0.5)
        pen.middle(MARGIN, middle, name)
        if layout.means:
            pen.middle(end, middle, row.text, size=SMALL, ha="right")
        if place:
            pen.line((MARGIN, end), (top + ROW * place, top + ROW * place))
        if sheet.nothing:
            _draw_nothing(pen, row, layout.left + layout.none / 2, middle)
    if sheet.nothing:
        below = top + ROW * len(sheet.rows) + 0.16
        pen.text(layout.left + layout.none / 2, below, "none", size=SMALL, ha="center")


def _label(text: str, most: float) -> str:
    return "\n".join(wrapped(line, most, TEXT, most=2) for line in text.split("\n"))


def _axes(pen: Pen, sheet: _Sheet, left: float, top: float, width: float, height: float) -> Axes:
    axes, scale = pen.axes(left, top, width, height), sheet.scale
    axes.set_xscale("log" if scale.log else "linear")
    axes.set_xlim(scale.low, scale.high)
    axes.set_ylim(len(sheet.rows), 0)
    ticks = scale.ticks_within(width)
    axes.xaxis.set_major_locator(FixedLocator(ticks))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.set_xticks(ticks, [scale.tick_label(tick) for tick in ticks])
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(scale.label, fontsize=SMALL, labelpad=2)
    for tick in ticks:
        axes.axvline(tick, color=RULE, linewidth=0.5, zorder=0)
    return axes


def _heights(points: pd.DataFrame) -> np.ndarray:
    """Where each point lies above or below the middle of its row: spread evenly, the same on every run."""
    return ((np.arange(len(points)) * GOLDEN) % 1 - 0.5) * 2 * SPREAD - 0.08


def _places(points: pd.DataFrame) -> np.ndarray:
    """Where a point is drawn: at its number, or at the end that is known."""
    low, high = points["low"].to_numpy(dtype=float), points["high"].to_numpy(dtype=float)
    return np.where(low > 0, low, high)


def _draw_points(axes: Axes, row: _Row, place: int, scale: Scale) -> None:
    look = {"color": row.style.colour, "zorder": 3, "clip_on": False}
    for point, height in zip(row.points.itertuples(), _heights(row.points), strict=True):
        y, low, high = place + 0.5 + height, float(point.low), float(point.high)
        if low == high:
            if high > 0 or not scale.log:
                axes.plot([low], [y], marker=row.style.marker, markersize=3.2, alpha=0.75, markeredgewidth=0, **look)
            continue
        start, end = scale.clipped(max(low, scale.low)), scale.clipped(high)
        axes.plot([start, end], [y, y], linewidth=1.6, alpha=0.6, solid_capstyle="butt", **look)
        for at, pointer, is_open in ((start, "<", low == 0), (end, ">", np.isinf(high))):
            if is_open:
                axes.plot([at], [y], marker=pointer, markersize=3.6, markeredgewidth=0, **look)


def _draw_mean(axes: Axes, row: _Row, place: int, scale: Scale) -> None:
    mean, low, high = row.mean
    if not numbers.known(mean):
        return
    y = place + 0.5 + MEAN_AT
    if numbers.known(low):
        axes.plot([scale.clipped(low), scale.clipped(high)], [y, y], color=INK, linewidth=1.3, zorder=4, clip_on=False)
    axes.plot([mean], [y], marker="D", color=INK, markersize=4.2, zorder=5, clip_on=False)


def _draw_nothing(pen: Pen, row: _Row, x: float, middle: float) -> None:
    """Sessions with no yield at all stand before the axis, which has no zero."""
    nothing = int(((row.points["low"] == 0) & (row.points["high"] == 0)).sum())
    if nothing:
        pen.middle(x, middle, str(nothing), size=SMALL, ha="center")


def _draw_links(axes: Axes, sheet: _Sheet) -> None:
    """Each patient with both classes of the primary contrast: a line through the sessions in their order."""
    named = {row.group: place for place, row in enumerate(sheet.rows)}
    pair = [each for each in sheet.linked if each in named]
    if len(pair) < 2:
        return
    points = pd.concat(
        [
            sheet.rows[named[each]].points.assign(
                y=named[each] + 0.5 + _heights(sheet.rows[named[each]].points),
                x=_places(sheet.rows[named[each]].points),
            )
            for each in pair
        ]
    )
    points = points[points["x"] > 0] if sheet.scale.log else points
    for _, own in points.groupby("patient", sort=True):
        if own["group"].nunique() > 1:
            own = own.sort_values("session_number", kind="stable")
            axes.plot(own["x"], own["y"], color=BACKDROP, linewidth=0.8, zorder=1)
