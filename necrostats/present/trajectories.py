"""Sizes of collections over time: the figure, the table and the sentences."""

from __future__ import annotations

from functools import partial

import pandas as pd

from necrostats.present import numbers
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.labels import in_order, is_grouped, plain, sentence_case, with_n
from necrostats.present.saying import about, ended, findings, plural
from necrostats.present.small_numbers import FEWEST_FOR_A_RATE, NO_VALUES, TOO_FEW, too_few_to_summarise
from necrostats.present.style import drawing, style_among
from necrostats.present.tables import Table, tabulate
from necrostats.present.trajectory_panels import Grid, Median, Panel, draw
from necrostats.present.wording import alternative, caption, table_caption
from necrostats.results import Trajectories

READING = (
    "Thin: one line a collection, from its first scan to its last. Thick: the median of the collections scanned in a "
    "window, with quartiles, at the median day of their scans; their number stands below"
)


def _rows(result: Trajectories) -> pd.DataFrame:
    """The rows of the table with their windows, and whether they hold too few."""
    windows = result.windows.set_axis(result.table.index, axis=0)
    return pd.concat([result.table, windows], axis=1).assign(few=too_few_to_summarise(result.table))


def _median(row, first_day: float) -> Median:
    return Median(
        day=row.day, centre=(max(row.day_from, first_day) + row.day_to) / 2, estimate=row.estimate, low=row.low,
        high=row.high, count=int(row.n), shown=bool(row.n and not row.few),
    )  # fmt: skip


def _panel(result: Trajectories, group: object, rows: pd.DataFrame, first_day: float) -> Panel:
    series = result.series[result.series["group"] == group]
    lines = tuple((tuple(each["day"]), tuple(each["value"])) for _, each in series.groupby("collection"))
    name = plain(group) if is_grouped(result.table) else "Collections"
    return Panel(
        title=with_n(sentence_case(name), f"{len(lines):,}"), lines=lines,
        medians=tuple(_median(row, first_day) for row in rows[rows["group"] == group].itertuples()),
        style=style_among(in_order(result.table["group"]), group),
    )  # fmt: skip


def _grid(result: Trajectories) -> Grid:
    rows, series = _rows(result), result.series
    first_day = float(min(series["day"].min(), 0)) if len(series) else 0.0
    variable = plain(in_order(result.table["variable"])[0])
    log = variable.endswith("ml")
    scale = ", logarithmic scale down to 1, then 0" if log else ""
    few = f"No median of fewer than {FEWEST_FOR_A_RATE} collections" if rows["few"].any() else ""
    return Grid(
        panels=tuple(_panel(result, group, rows, first_day) for group in in_order(result.table["group"])),
        first_day=first_day, ticks=tuple(sorted({int(day) for day in result.windows["day_to"]})),
        most=float(series["value"].max()) if len(series) else 1.0, log=log,
        y_label=f"{sentence_case(variable)}{scale}", remarks=tuple(filter(None, (READING, few))),
    )  # fmt: skip


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
            "n": pd.array([pd.NA] * len(series), dtype="Int64"), "low": float("nan"), "high": float("nan"),
        }
    )  # fmt: skip
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
        fig=sheet, alt=alternative(result, "Lines over time"), data=_data(result), redraw=redraw,
        caption=caption(result, *grid.remarks),
    )  # fmt: skip


@tabulate.register(Trajectories)
def _(result: Trajectories, **options) -> Table:
    """A row for each window and group: how many collections were scanned, and the median of those."""
    table, grouped = result.table, is_grouped(result.table)
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
        caption=table_caption(result), frame=pd.DataFrame(made, columns=columns, dtype=object),
        row_heads=len(heads), notes=tuple(ended(note.text) for note in result.notes),
    )  # fmt: skip


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
    table, few = result.table, too_few_to_summarise(result.table)
    grouped, said = is_grouped(table), []
    for group in in_order(table["group"]):
        rows = [row for row in table[table["group"] == group].itertuples() if row.n]
        if rows:
            each = "; ".join(_said(row, bool(few[row.Index])) for row in rows)
            said.append(about(group, grouped, f"{sentence_case(plain(rows[0].variable))}, median (quartiles): {each}."))
    return tuple(said) or ("No collection was measured.",)
