"""Charts and tables of figures with intervals: one panel a measure, one row a variable and group."""

from __future__ import annotations

import pandas as pd

from necrostats.present import estimate_cells as cells
from necrostats.present import numbers
from necrostats.present.figures import Figure, chart
from necrostats.present.forest import Mark, Panel, Row
from necrostats.present.labels import EVERYONE, in_order, is_grouped, plain, sentence_case
from necrostats.present.rates import figure_of, without_small
from necrostats.present.saying import ended
from necrostats.present.scales import Scale, around_zero, from_zero
from necrostats.present.style import style_among, style_at
from necrostats.present.tables import Table, table
from necrostats.present.tabulations import FEW_NOTE
from necrostats.present.wording import table_caption
from necrostats.results import Estimates

LIMITS = ["estimate", "low", "high"]


def _row(row, few: bool, label: str, indent: int, style) -> Row:
    known = not few and numbers.known(row.estimate)
    mark = Mark(estimate=row.estimate, low=row.low, high=row.high, style=style)
    return Row(
        label=label, indent=indent, marks=(mark,) if known else (), texts=(cells.rests_on(row), cells.text(row, few))
    )


def _rows(rows: pd.DataFrame, few: pd.Series, groups: list) -> list[Row]:
    """A row a variable; where it has groups, its name and a row for each of them."""
    made = []
    for variable in in_order(rows["variable"]):
        here = list(rows[rows["variable"] == variable].itertuples())
        name = sentence_case(plain(variable))
        if len(here) == 1 and here[0].group == EVERYONE:
            made.append(_row(here[0], bool(few[here[0].Index]), name, 0, style_at(0)))
            continue
        made += [Row(label=name, bold=True, starts=True)] * bool(here)
        made += [_row(row, bool(few[row.Index]), plain(row.group), 1, style_among(groups, row.group)) for row in here]
    return made


def _scale(rows: pd.DataFrame, few: pd.Series, unit: str) -> Scale:
    shown = rows.loc[~few.loc[rows.index], LIMITS].to_numpy(dtype=float).ravel()
    label, scale = cells.unit_name(unit), cells.factor(unit)
    if cells.is_difference(unit):
        return around_zero(shown, label=f"{label}, 0 = no difference", factor=scale)
    return from_zero(shown, label=label, factor=scale, most=1.0 if unit == cells.SHARE else float("inf"))


def _panel(result: Estimates, measure: object, few: pd.Series) -> Panel:
    rows = result.frame[result.frame["measure"] == measure]
    unit, of = rows["unit"].iloc[0], plain(rows["of"].iloc[0])
    counted = f"k / {of}" if rows["events"].notna().any() else of
    columns = (counted, f"{cells.unit_name(unit)} ({numbers.interval_name(result.method.level)})")
    return Panel(
        heading=sentence_case(plain(measure)),
        columns=columns,
        scale=_scale(rows, few, unit),
        rows=tuple(_rows(rows, few, in_order(result.frame["group"]))),
    )


@chart.register(Estimates)
def _(result: Estimates, *, width: str = "page", **options) -> Figure:
    few = cells.too_few(result.frame)
    measures = [each for each in in_order(result.frame["measure"]) if (result.frame["measure"] == each).any()]
    empty = Panel(heading="No figures", columns=(), rows=(), scale=from_zero([], label=""))
    panels = tuple(_panel(result, each, few) for each in measures) or (empty,)
    remark = "Each panel has its own unit and scale" if len(panels) > 1 else ""
    data = without_small(result.frame, few, LIMITS)
    return figure_of(result, panels, data, "Points with intervals", width, remark)


@table.register(Estimates)
def _(result: Estimates, **options) -> Table:
    """A row for each measure, variable and group, with what it rests on."""
    table, few, grouped = result.frame, cells.too_few(result.frame), is_grouped(result.frame)
    columns = [
        "Measure",
        "Variable",
        *(["Group"] if grouped else []),
        "Rests on",
        f"Estimate ({numbers.interval_name(result.method.level)})",
    ]
    made = [
        {
            "Measure": cells.heading(row.measure, row.unit),
            "Variable": sentence_case(plain(row.variable)),
            "Group": "" if row.group == EVERYONE else plain(row.group),
            "Rests on": f"{cells.rests_on(row)} {plain(row.of)}",
            columns[-1]: cells.text(row, bool(few[row.Index])),
        }
        for row in table.itertuples()
    ]
    kept = [{name: line[name] for name in columns} for line in made]
    notes = (*([FEW_NOTE] if few.any() else []), *(ended(note.text) for note in result.notes))
    frame = pd.DataFrame(kept, columns=columns, dtype=object)
    return Table(caption=table_caption(result), frame=frame, row_heads=3 if grouped else 2, notes=notes)
