"""Charts of rates and of comparisons: points with intervals, one panel for each unit or measure."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd

from necrostats.present import cells, contrasts, numbers
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.forest import Mark, Panel, Row, draw
from necrostats.present.labels import in_order, is_grouped, plain, sentence_case
from necrostats.present.saying import plural
from necrostats.present.scales import Scale, around_zero, from_zero, logarithmic
from necrostats.present.small_numbers import too_few_for_a_rate
from necrostats.present.style import drawing, style_among, style_at
from necrostats.present.wording import alternative, caption
from necrostats.results import Comparison, Rates, Result

LIMITS = ["estimate", "conf_low", "conf_high"]
MOST_ROWS = 24


def figure_of(result: Result, panels: tuple[Panel, ...], data: pd.DataFrame, kind: str, width: str, *remarks) -> Figure:
    """A figure of panels, ready to be drawn again at another width."""
    redraw = partial(draw, panels)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    return Figure(
        fig=sheet, alt=alternative(result, kind), caption=caption(result, *remarks), data=data, redraw=redraw
    )


def without_small(table: pd.DataFrame, few: pd.Series, limits: list[str]) -> pd.DataFrame:
    """A table whose estimates are blank where there are too few for one."""
    shown = table.copy()
    shown[limits] = shown[limits].astype(float)
    shown.loc[few, limits] = float("nan")
    return shown.reset_index(drop=True)


def _rate_row(row, few: bool, label: str, indent: int, style) -> Row:
    blank = few or not numbers.known(row.n) or row.n == 0
    mark = Mark(
        estimate=row.estimate, low=row.conf_low, high=row.conf_high, style=style, hollow=row.events == 0
    )  # fmt: skip
    return Row(
        label=label, indent=indent, marks=() if blank else (mark,),
        texts=(cells.fraction(row.events, row.n), cells.rate(row, few)),
    )  # fmt: skip


def _variable_rows(rows: pd.DataFrame, few: pd.Series, groups: list, grouped: bool) -> list[Row]:
    """One row for a variable; with groups, its name and then a row for each group."""
    made = []
    for row in rows.itertuples():
        style = style_among(groups, row.group) if grouped else style_at(0)
        label = plain(row.group) if grouped else sentence_case(plain(row.variable))
        made.append(_rate_row(row, bool(few[row.Index]), label, int(grouped), style))
    if grouped and made:
        name = sentence_case(plain(rows["variable"].iloc[0]))
        return [Row(label=name, bold=True, starts=True), *made]
    return made


def _rate_scale(rows: pd.DataFrame, few: pd.Series, unit: str) -> Scale:
    shown = rows.loc[~few.loc[rows.index] & (rows["n"] > 0), LIMITS].to_numpy(dtype=float).ravel()
    if cells.is_share(rows["per"].iloc[0], unit):
        return from_zero(shown, label=f"% of {unit}", factor=100, most=1.0)
    return from_zero(shown, label=f"per {cells.per_unit(unit)}")


def _rate_panel(result: Rates, unit: str, few: pd.Series) -> Panel:
    table, grouped = result.table, is_grouped(result.table)
    rows = table[table["unit"] == unit]
    made = []
    for variable in in_order(rows["variable"]):
        made += _variable_rows(rows[rows["variable"] == variable], few, in_order(table["group"]), grouped)
    is_share, level = cells.is_share(rows["per"].iloc[0], unit), numbers.interval_name(result.method.level)
    counted = "events / n" if is_share else f"events / {cells.exposure(unit)}"
    heading = f"Per {plural(1, unit)}" if is_share else f"Per {cells.per_unit(unit)}"
    columns = (counted, f"{'%' if is_share else 'rate'} ({level})")
    return Panel(heading=heading, columns=columns, rows=tuple(made), scale=_rate_scale(rows, few, unit))


def _empty_panel(text: str) -> Panel:
    return Panel(heading=text, columns=(), rows=(), scale=from_zero([], label=""))


def _shortened(result: Rates) -> tuple[Rates, int]:
    """With groups, the first variables only, as many as a figure can hold; and how many are left for the table."""
    variables, groups = in_order(result.table["variable"]), in_order(result.table["group"])
    most = max(1, MOST_ROWS // (len(groups) + 1))
    if not is_grouped(result.table) or len(variables) <= most:
        return result, 0
    kept = result.table[result.table["variable"].isin(variables[:most])]
    first = pd.Categorical(kept["variable"].astype(object), categories=variables[:most], ordered=True)
    return replace(result, table=kept.assign(variable=first)), len(variables) - most


@chart.register(Rates)
def _(result: Rates, *, width: str = "page", **options) -> Figure:
    result, hidden = _shortened(result)
    few = too_few_for_a_rate(result.table)
    units = [unit for unit in in_order(result.table["unit"]) if (result.table["unit"] == unit).any()]
    panels = tuple(_rate_panel(result, unit, few) for unit in units) or (_empty_panel("Nobody at risk"),)
    remarks = ["Each panel has its own unit and scale."] if len(units) > 1 else []
    if (result.table["events"] == 0).any():
        remarks.append("Open marker: none observed, with the upper limit")
    if hidden:
        remarks.append(f"{hidden} further {plural(hidden, 'measures')} in the table only")
    data = without_small(result.table, few, LIMITS)
    return figure_of(result, panels, data, "Points with intervals", width, *remarks)


def _contrast_row(row, indent: int) -> Row:
    mark = Mark(estimate=row.estimate, low=row.conf_low, high=row.conf_high, style=style_at(0))
    counts = " v ".join(part for part in contrasts.counts(row) if part)
    counted = getattr(row, "n_ref", None) is not None
    texts = (*([counts] if counted else []), contrasts.text(row), numbers.p_value(row.p_value))
    marks = (mark,) if numbers.known(row.estimate) or numbers.known(row.conf_low) else ()
    return Row(label=contrasts.pair(row), indent=indent, marks=marks, texts=texts)


def _contrast_rows(rows: pd.DataFrame) -> list[Row]:
    """A row a contrast; under the name of what was compared, where that is more than one thing."""
    named = contrasts.variables(rows)
    if len(named) < 2:
        return [_contrast_row(row, 0) for row in rows.itertuples()]
    made = []
    for variable in named:
        made.append(Row(label=sentence_case(plain(variable)), bold=True, starts=True))
        made += [_contrast_row(row, 1) for row in rows[rows["variable"] == variable].itertuples()]
    return made


def _contrast_panel(result: Comparison, measure: object) -> Panel:
    rows = result.table[result.table["measure"] == measure]
    contrast, limits = contrasts.contrast_of(measure), rows[LIMITS].to_numpy(dtype=float)
    label = contrasts.heading(measure)
    across = "log scale, 1 = no difference" if contrast.log else f"{contrast.unit}, 0 = no difference".lstrip(", ")
    if contrast.log:
        scale = logarithmic(limits[:, 0], limits[:, 1:].ravel(), label=across, reference=contrast.reference)
    else:
        scale = around_zero(limits.ravel(), label=across, factor=contrast.factor)
    tested = rows["p_value"].notna().any()
    counted = ["events / n, group v reference"] if "n_ref" in rows.columns else []
    estimate = f"estimate ({numbers.interval_name(result.method.level)})"
    columns = (*counted, estimate, *([contrasts.p_heading(result.table)] if tested else []))
    made = _contrast_rows(rows)
    return Panel(heading=label, columns=columns, rows=tuple(made), scale=scale)


@chart.register(Comparison)
def _(result: Comparison, *, width: str = "page", **options) -> Figure:
    measures = [each for each in in_order(result.table["measure"]) if (result.table["measure"] == each).any()]
    panels = tuple(_contrast_panel(result, each) for each in measures) or (_empty_panel("Nothing to compare"),)
    data = result.table.reset_index(drop=True)
    remark = "The vertical line marks no difference" if measures else ""
    cut = "An arrow points to what lies beyond the scale" if any(panel.cuts for panel in panels) else ""
    return figure_of(result, panels, data, "Points with intervals", width, remark, cut)
