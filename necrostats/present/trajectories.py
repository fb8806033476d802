"""Sizes of collections over time: the figure, the table and the sentences.

Draws sizes over time: a thin line for each collection that stops at its last scan, and a thick median.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure as Drawing

from necrostats.present import numbers
from necrostats.present.drawing import Pen, blank, spread, width_of, wrapped
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.numbers import FEWEST_FOR_A_RATE, NO_VALUES, TOO_FEW, too_few_to_summarise
from necrostats.present.style import INK, LINE, QUIET, RULE, SMALL, TEXT, Style, drawing, style_among
from necrostats.present.tables import Table, table
from necrostats.present.wording import (
    about,
    alternative,
    caption,
    ended,
    findings,
    in_order,
    is_grouped,
    plain,
    plural,
    sentence_case,
    table_caption,
    with_n,
)
from necrostats.results import Trajectories

MARGIN = 0.06
LEFT, RIGHT = 0.66, 0.16
NARROW = 5.0
HEIGHT = {1: 2.7, 2: 1.8}  # inches of a panel, by how many stand side by side
HEIGHT_NARROW = 1.9
TITLE = 0.2
TICKS = 0.2
GAP = 0.3
THIN = "#A6A6A6"
ZERO_BELOW = 0.55  # decades from the least value on the logarithmic scale down to the line of 0


@dataclass(frozen=True, kw_only=True)
class Median:
    """The median of one window with its quartiles, at the median day of the values; `count` collections."""

    day: float
    centre: float
    estimate: float
    low: float
    high: float
    count: int
    shown: bool


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One group: its collections as (days, values), and its medians in order."""

    title: str
    lines: tuple[tuple[tuple[float, ...], tuple[float, ...]], ...]
    medians: tuple[Median, ...]
    style: Style


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Panels on the same axes. `log`: a logarithmic scale down to 1, with 0 on a line of its own below it."""

    panels: tuple[Panel, ...]
    first_day: float
    ticks: tuple[int, ...]
    most: float
    log: bool
    y_label: str
    remarks: tuple[str, ...]

    def place(self, values) -> np.ndarray:
        """Where values lie on the vertical axis."""
        values = np.asarray(values, dtype=float)
        if not self.log:
            return values
        return np.where(values <= 0, -ZERO_BELOW, np.log10(np.maximum(values, 1.0)))


def _y_ticks(grid: Grid) -> list[float]:
    if grid.log:
        return [0, *(10.0**power for power in range(math.ceil(math.log10(max(grid.most, 10))) + 1))]
    step = next(step for step in (1, 5, 10, 25, 50, 100, 250, 500, 10**9) if grid.most / step <= 5)
    return list(np.arange(0, grid.most + step, step, dtype=float))


def _axes(pen: Pen, grid: Grid, at: tuple[float, float], size: tuple[float, float]) -> Axes:
    axes = pen.axes(*at, *size)
    last = grid.ticks[-1]
    axes.set_xlim(grid.first_day - 0.01 * last, 1.01 * last)
    ticks = _y_ticks(grid)
    axes.set_yticks(grid.place(ticks), [f"{tick:,.0f}" for tick in ticks])
    bottom = -ZERO_BELOW - 0.12 if grid.log else -0.03 * ticks[-1]
    top = math.log10(max(grid.most, 10)) + 0.08 if grid.log else max(ticks[-1], 1)
    axes.set_ylim(bottom, top)
    axes.set_xticks(grid.ticks)
    axes.set_axisbelow(True)
    axes.grid(axis="y", color=RULE, linewidth=0.5)
    axes.axvline(0, color=QUIET, linewidth=0.6, zorder=1)
    return axes


def _draw_lines(axes: Axes, grid: Grid, panel: Panel) -> None:
    for days, values in panel.lines:
        axes.plot(
            days,
            grid.place(values),
            color=THIN,
            linewidth=0.45,
            alpha=0.75,
            zorder=2,
            marker=".",
            markersize=1.6,
            markeredgewidth=0,
        )


def _runs(medians: tuple[Median, ...]) -> list[list[Median]]:
    """Medians that follow each other; a window without one parts them, so that no line runs across it."""
    runs: list[list[Median]] = [[]]
    for each in medians:
        if each.shown:
            runs[-1].append(each)
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if run]


def _draw_medians(axes: Axes, grid: Grid, panel: Panel) -> None:
    for run in _runs(panel.medians):
        days = [each.day for each in run]
        low, high = (grid.place([getattr(each, end) for each in run]) for end in ("low", "high"))
        axes.vlines(days, low, high, color=panel.style.colour, linewidth=1.3, zorder=4)
        axes.plot(
            days,
            grid.place([each.estimate for each in run]),
            color=panel.style.colour,
            linewidth=2.2,
            zorder=5,
            linestyle=panel.style.line,
            marker=panel.style.marker,
            markersize=5,
            markeredgecolor="white",
            markeredgewidth=0.6,
            clip_on=False,
        )


def _draw_counts(pen: Pen, grid: Grid, panel: Panel, at: tuple[float, float], width: float) -> None:
    """How many collections each median rests on, under its window. `at`: left edge, and the middle of the line."""
    left, y = at
    last = grid.ticks[-1]
    low, high = grid.first_day - 0.01 * last, 1.01 * last
    texts = [f"{each.count:,}" for each in panel.medians]
    wanted = [left + (each.centre - low) / (high - low) * width for each in panel.medians]
    centres = spread(wanted, [width_of(text, SMALL) + 0.05 for text in texts], left - 0.1, left + width + 0.1)
    for text, x in zip(texts, centres, strict=True):
        pen.middle(x, y, text, size=SMALL, ha="center")


def _draw_panel(pen: Pen, grid: Grid, panel: Panel, at: tuple[float, float], size: tuple[float, float]) -> None:
    left, top = at
    width, height = size
    title = wrapped(panel.title, width, TEXT, bold=True, most=1)
    pen.text(left, top + 0.12, title, fontweight="bold")
    axes = _axes(pen, grid, (left, top + TITLE), size)
    _draw_lines(axes, grid, panel)
    _draw_medians(axes, grid, panel)
    if not panel.lines:
        pen.middle(left + width / 2, top + TITLE + height / 2, "Nothing measured", color=QUIET, ha="center")
    below = top + TITLE + height + TICKS + LINE / 2 + 0.03
    pen.middle(left - 0.14, below, "Scanned", size=SMALL, color=QUIET, ha="right")
    _draw_counts(pen, grid, panel, (left, below), width)


def draw(grid: Grid, width: float) -> Drawing:
    """The panels of a grid on a sheet so many inches wide and as high as they need."""
    columns = max(1, min(len(grid.panels), 1 if width < NARROW else 2))
    plot = (width - RIGHT - LEFT * columns - GAP * (columns - 1)) / columns
    height = HEIGHT[columns] if width >= NARROW else HEIGHT_NARROW
    each = TITLE + height + TICKS + LINE + 0.18
    rows = math.ceil(len(grid.panels) / columns)
    label = wrapped(grid.y_label, width - 2 * MARGIN, TEXT, most=2)
    remarks = "\n".join(wrapped(remark, width - 2 * MARGIN, SMALL, most=4) for remark in grid.remarks)
    head = MARGIN + (label.count("\n") + 1) * LINE + 0.1
    foot = LINE * (2 + remarks.count("\n") + 1) + MARGIN
    pen = Pen(blank(width, head + rows * each + foot))
    pen.text(MARGIN, MARGIN + 0.11, label, color=INK)
    for place, panel in enumerate(grid.panels):
        row, column = divmod(place, columns)
        _draw_panel(pen, grid, panel, (LEFT + column * (plot + GAP + LEFT), head + row * each), (plot, height))
    bottom = head + rows * each
    pen.middle((LEFT + width - MARGIN) / 2, bottom + LINE / 2, "Days from index drainage", ha="center")
    pen.text(MARGIN, bottom + 2 * LINE, remarks, size=SMALL, color=QUIET)
    return pen.sheet


READING = (
    "Thin: one line a collection, from its first scan to its last. Thick: the median of the collections scanned in a "
    "window, with quartiles, at the median day of their scans; their number stands below"
)


def _rows(result: Trajectories) -> pd.DataFrame:
    """The rows of the table with their windows, and whether they hold too few."""
    windows = result.windows.set_axis(result.frame.index, axis=0)
    return pd.concat([result.frame, windows], axis=1).assign(few=too_few_to_summarise(result.frame))


def _median(row, first_day: float) -> Median:
    return Median(
        day=row.day,
        centre=(max(row.day_from, first_day) + row.day_to) / 2,
        estimate=row.estimate,
        low=row.low,
        high=row.high,
        count=int(row.n),
        shown=bool(row.n and not row.few),
    )


def _panel(result: Trajectories, group: object, rows: pd.DataFrame, first_day: float) -> Panel:
    series = result.series[result.series["group"] == group]
    lines = tuple((tuple(each["day"]), tuple(each["value"])) for _, each in series.groupby("collection"))
    name = plain(group) if is_grouped(result.frame) else "Collections"
    return Panel(
        title=with_n(sentence_case(name), f"{len(lines):,}"),
        lines=lines,
        medians=tuple(_median(row, first_day) for row in rows[rows["group"] == group].itertuples()),
        style=style_among(in_order(result.frame["group"]), group),
    )


def _grid(result: Trajectories) -> Grid:
    rows, series = _rows(result), result.series
    first_day = float(min(series["day"].min(), 0)) if len(series) else 0.0
    variable = plain(in_order(result.frame["variable"])[0])
    log = variable.endswith("ml")
    scale = ", logarithmic scale down to 1, then 0" if log else ""
    few = f"No median of fewer than {FEWEST_FOR_A_RATE} collections" if rows["few"].any() else ""
    return Grid(
        panels=tuple(_panel(result, group, rows, first_day) for group in in_order(result.frame["group"])),
        first_day=first_day,
        ticks=tuple(sorted({int(day) for day in result.windows["day_to"]})),
        most=float(series["value"].max()) if len(series) else 1.0,
        log=log,
        y_label=f"{sentence_case(variable)}{scale}",
        remarks=tuple(filter(None, (READING, few))),
    )


def _data(result: Trajectories) -> pd.DataFrame:
    """The medians that are drawn, then every value of every collection."""
    rows = _rows(result)
    rows = rows[(rows["n"] > 0) & ~rows["few"]]
    kept = ["group", "day", "n", "estimate", "low", "high"]
    medians = rows[kept].rename(columns={"estimate": "value"}).assign(what="median, " + rows["level"].astype(str))
    series = result.series
    each = pd.DataFrame(
        {
            "what": "collection " + series["collection"].astype(str),
            **{name: series[name] for name in ("group", "day", "value")},
            "n": pd.array([pd.NA] * len(series), dtype="Int64"),
            "low": float("nan"),
            "high": float("nan"),
        }
    )
    columns = ["what", "group", "day", "value", "low", "high", "n"]
    parts = [part[columns].astype({"group": object, "day": float}) for part in (medians, each) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else medians[columns]


@chart.register(Trajectories)
def _(result: Trajectories, *, width: str = "page", **options) -> Figure:
    """A thin line for each collection, a thick median, a panel for each group."""
    inches = check_width(width)
    grid = _grid(result)
    redraw = partial(draw, grid)
    with drawing():
        sheet = redraw(inches)
    return Figure(
        fig=sheet,
        alt=alternative(result, "Lines over time"),
        data=_data(result),
        redraw=redraw,
        caption=caption(result, *grid.remarks),
    )


@table.register(Trajectories)
def _(result: Trajectories, **options) -> Table:
    """A row for each window and group: how many collections were scanned, and the median of those."""
    table, grouped = result.frame, is_grouped(result.frame)
    heads = ["Group", "Window"] if grouped else ["Window"]
    middle = f"{sentence_case(plain(in_order(table['variable'])[0]))}: median (quartiles)"
    columns = [*heads, "Scanned / collections", "Patients", middle]
    few = too_few_to_summarise(table)
    made = [
        {
            "Group": plain(row.group),
            "Window": sentence_case(row.level),
            "Scanned / collections": f"{row.n:,} / {row.n + row.missing:,}",
            "Patients": numbers.count(row.patients),
            middle: _described(row, bool(few[row.Index])),
        }
        for row in table.itertuples()
    ]
    return Table(
        caption=table_caption(result),
        frame=pd.DataFrame(made, columns=columns, dtype=object),
        row_heads=len(heads),
        notes=tuple(ended(note.text) for note in result.notes),
    )


def _described(row, few: bool) -> str:
    if not row.n:
        return NO_VALUES
    if few:
        return TOO_FEW
    ends = numbers.joined(numbers.plain_number(row.low), numbers.plain_number(row.high))
    return f"{numbers.plain_number(row.estimate)} ({ends})"


def _said(row, few: bool) -> str:
    scanned = f"{row.n:,} of {row.n + row.missing:,} {plural(row.n + row.missing, 'collections')}"
    return f"{row.level} {TOO_FEW if few else _described(row, False)}, {scanned}"


@findings.register(Trajectories)
def _(result: Trajectories, **options) -> tuple[str, ...]:
    """The medians of each group in the order of the windows."""
    table, few = result.frame, too_few_to_summarise(result.frame)
    grouped, said = is_grouped(table), []
    for group in in_order(table["group"]):
        rows = [row for row in table[table["group"] == group].itertuples() if row.n]
        if rows:
            each = "; ".join(_said(row, bool(few[row.Index])) for row in rows)
            said.append(about(group, grouped, f"{sentence_case(plain(rows[0].variable))}, median (quartiles): {each}."))
    return tuple(said) or ("No collection was measured.",)
