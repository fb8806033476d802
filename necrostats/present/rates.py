"""Charts of rates and of comparisons: points with intervals, one panel for each unit or measure.

Rates in sentences: what happened in how many of how many, in one unit a sentence.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pandas as pd

from necrostats.present import cells, contrasts, numbers
from necrostats.present.cells import exposure, is_share, per_unit, spoken_interval, spoken_share
from necrostats.present.drawing import Scale, around_zero, from_zero, logarithmic
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.forest import Mark, Panel, Row, draw
from necrostats.present.numbers import NOBODY, too_few_for_a_rate
from necrostats.present.style import drawing, style_among, style_at
from necrostats.present.wording import (
    about,
    alternative,
    caption,
    findings,
    in_order,
    is_grouped,
    listed,
    plain,
    plural,
    sentence_case,
)
from necrostats.registry.codebook import TABLES
from necrostats.results import Comparison, Rates, Result

LIMITS = ["estimate", "low", "high"]
MOST_ROWS = 24


def figure_of(result: Result, panels: tuple[Panel, ...], data: pd.DataFrame, kind: str, width: str, *remarks) -> Figure:
    """A figure of panels, ready to be drawn again at another width."""
    redraw = partial(draw, panels)
    inches = check_width(width)
    with drawing():
        sheet = redraw(inches)
    return Figure(fig=sheet, alt=alternative(result, kind), caption=caption(result, *remarks), data=data, redraw=redraw)


def without_small(table: pd.DataFrame, few: pd.Series, limits: list[str]) -> pd.DataFrame:
    """A table whose estimates are blank where there are too few for one."""
    shown = table.copy()
    shown[limits] = shown[limits].astype(float)
    shown.loc[few, limits] = float("nan")
    return shown.reset_index(drop=True)


MOST_WITH_ZEROS = 3
_HUNDRED, _THOUSAND = "100 ", "1,000 "


def per_thousand(table: pd.DataFrame) -> pd.DataFrame:
    """Rates of Rates over days, per 1,000 of them where none reaches 1 per 100; shares and the rest as they are."""
    shown = table.copy()
    units = shown["unit"].astype(object)
    for unit in dict.fromkeys(units):
        rows = units == unit
        small = shown.loc[rows, "estimate"].fillna(0).max() < 1
        if str(unit).startswith(_HUNDRED) and small:
            shown.loc[rows, LIMITS] = shown.loc[rows, LIMITS].astype(float) * 10
            shown.loc[rows, "per"] = shown.loc[rows, "per"] * 10
            units = units.where(~rows, _THOUSAND + str(unit).removeprefix(_HUNDRED))
    order = list(dict.fromkeys(units))
    return shown.assign(unit=pd.Categorical(units, categories=order, ordered=True))


def without_zeros(table: pd.DataFrame) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """The variables that happened, the most frequent first (any of them stays on top), and the others in a sentence.

    Several groups keep all their rows, unless all are too small for a rate; so do tables of three variables or fewer.
    """
    variables = in_order(table["variable"])
    grouped = len(in_order(table["group"])) > 1 and (table["n"] >= numbers.FEWEST_FOR_A_RATE).any()
    if grouped or len(variables) <= MOST_WITH_ZEROS:
        return table, ()
    most = table.groupby(table["variable"].astype(object))["events"].max()
    none = [each for each in variables[1:] if not most.get(each, 0)]
    kept = [variables[0], *sorted((each for each in variables[1:] if each not in none), key=lambda each: -most[each])]
    rows = table[table["variable"].isin(kept)]
    rows = rows.assign(variable=pd.Categorical(rows["variable"].astype(object), categories=kept, ordered=True))
    zeros = table[table["variable"].isin(none) & (table["n"] > 0)]
    return rows.sort_values("variable", kind="stable"), _none_recorded(zeros)


def _none_recorded(zeros: pd.DataFrame) -> tuple[str, ...]:
    """What was not recorded at all, once for all that rest on the same numbers, each with its exact upper limit."""
    basis = {}
    for variable, rows in zeros.groupby("variable", observed=True, sort=False):
        limits = tuple(_bounded(row) for row in rows.itertuples())
        basis.setdefault(limits, []).append(plain(variable))
    return tuple(
        f"None recorded: {listed(names)} (each 0 of {'; of '.join(limits)})." for limits, names in basis.items()
    )


def _bounded(row) -> str:
    of = f"{numbers.count(row.n)} {plural(row.n, exposure(row.unit))}"
    return f"{of}, up to {_upper(row)}" if numbers.known(row.high) and row.n >= numbers.FEWEST_FOR_A_RATE else of


def _rate_row(row, few: bool, label: str, indent: int, style) -> Row:
    blank = few or not numbers.known(row.n) or row.n == 0
    mark = Mark(estimate=row.estimate, low=row.low, high=row.high, style=style, hollow=row.events == 0)
    return Row(
        label=label,
        indent=indent,
        marks=() if blank else (mark,),
        texts=(cells.fraction(row.events, row.n), cells.rate(row, few)),
    )


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
    table, grouped = result.frame, is_grouped(result.frame)
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
    variables, groups = in_order(result.frame["variable"]), in_order(result.frame["group"])
    most = max(1, MOST_ROWS // (len(groups) + 1))
    if not is_grouped(result.frame) or len(variables) <= most:
        return result, 0
    kept = result.frame[result.frame["variable"].isin(variables[:most])]
    first = pd.Categorical(kept["variable"].astype(object), categories=variables[:most], ordered=True)
    return replace(result, frame=kept.assign(variable=first)), len(variables) - most


@chart.register(Rates)
def _(result: Rates, *, width: str = "page", **options) -> Figure:
    result, hidden = _shortened(replace(result, frame=per_thousand(result.frame)))
    few = too_few_for_a_rate(result.frame)
    units = [unit for unit in in_order(result.frame["unit"]) if (result.frame["unit"] == unit).any()]
    panels = tuple(_rate_panel(result, unit, few) for unit in units) or (_empty_panel("Nobody at risk"),)
    remarks = ["Each panel has its own unit and scale."] if len(units) > 1 else []
    if (result.frame["events"] == 0).any():
        remarks.append("Open marker: none observed, with the upper limit")
    if hidden:
        remarks.append(f"{hidden} further {plural(hidden, 'measures')} in the table only")
    data = without_small(result.frame, few, LIMITS)
    return figure_of(result, panels, data, "Points with intervals", width, *remarks)


def _contrast_row(row, indent: int) -> Row:
    mark = Mark(estimate=row.estimate, low=row.low, high=row.high, style=style_at(0))
    counts = " v ".join(part for part in contrasts.counts(row) if part)
    counted = getattr(row, "n_ref", None) is not None
    texts = (*([counts] if counted else []), contrasts.text(row), numbers.p_value(row.p_value))
    marks = (mark,) if numbers.known(row.estimate) or numbers.known(row.low) else ()
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
    rows = result.frame[result.frame["measure"] == measure]
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
    columns = (*counted, estimate, *([contrasts.p_heading(result.frame)] if tested else []))
    made = _contrast_rows(rows)
    return Panel(heading=label, columns=columns, rows=tuple(made), scale=scale)


@chart.register(Comparison)
def _(result: Comparison, *, width: str = "page", **options) -> Figure:
    measures = [each for each in in_order(result.frame["measure"]) if (result.frame["measure"] == each).any()]
    panels = tuple(_contrast_panel(result, each) for each in measures) or (_empty_panel("Nothing to compare"),)
    data = result.frame.reset_index(drop=True)
    remark = "The vertical line marks no difference" if measures else ""
    cut = "An arrow points to what lies beyond the scale" if any(panel.cuts for panel in panels) else ""
    return figure_of(result, panels, data, "Points with intervals", width, remark, cut)


_TYPES = frozenset(plain(code) for code in TABLES["adverse_events"].column("event_type").codes)
_KINDS_OF_EVENT = {kind: f"{kind} event" for kind in ("cardiorespiratory", "sedation", "peroxide")} | {
    "other": "other adverse event"
}
MOST_IN_FULL = 3


def is_event(variable: object) -> bool:
    """Whether a variable is a type of adverse event, or any of them."""
    return plain(variable) in _TYPES or plain(variable).startswith("any ")


def _noun(variable: object) -> str:
    """What happened: "any adverse event" → "adverse event", "stent_migration" → "stent migration"."""
    name = plain(variable).removeprefix("any ")
    return _KINDS_OF_EVENT.get(name, name)


def some_event(variable: object) -> str:
    """What happened, as an object: "at least one adverse event", "bleeding"."""
    noun = _noun(variable)
    return noun if plain(variable) == noun else f"at least one {noun}"


def _compatible(limit: str, level: float) -> str:
    return f"up to {limit} is compatible with these data ({numbers.one_sided(level)} one-sided limit)"


def _noun_of(row) -> str:
    name = _name(row)
    return _noun(row.variable) if name == sentence_case(plain(row.variable)) else name.removeprefix("Any ").lower()


def _upper(row) -> str:
    if is_share(row.per, row.unit):
        return f"{numbers.rounded(row.high * 100, 1)} %"
    return f"{numbers.amount(row.high)} per {per_unit(row.unit)}"


def _nothing(row, level: float) -> str:
    if is_share(row.per, row.unit):
        of = f"any of {numbers.count(row.n)} {plural(row.n, row.unit)}"
        verb = "followed" if row.unit == "sessions" else "was recorded in"
    else:
        of, verb = f"{numbers.count(row.n)} {exposure(row.unit)}", "was recorded in"
    subject = f"No {_noun_of(row)} {verb} {of}" if is_event(row.variable) else f"{_name(row)}: none of {of[7:]}"
    if not is_event(row.variable) and not is_share(row.per, row.unit):
        subject = f"{_name(row)}: none in {of}"
    return f"{subject}; {_compatible(_upper(row), level)}." if numbers.known(row.high) else f"{subject}."


def _name(row) -> str:
    """The variable at the head of a sentence; over stent-days only what is put down to a stent counts."""
    name = plain(row.variable)
    if "stent-days" in str(row.unit) and not name.startswith("stent "):
        name = "any stent-related event" if name.startswith("any ") else f"{name} put down to a stent"
    return sentence_case(name)


def _share(row, level: float) -> str:
    of = f"{numbers.count(row.events)} of {numbers.count(row.n)} {plural(row.n, row.unit)}"
    inside = spoken_share(row.estimate, row.low, row.high, row.n, level)
    if not is_event(row.variable):
        return f"{_name(row)}: {of} ({inside})."
    verb = "had"
    if row.unit == "sessions":
        verb = "was followed by" if row.events == 1 else "were followed by"
    return f"{of} ({inside}) {verb} {some_event(row.variable)}."


def _per_exposure(row, level: float) -> str:
    limits = spoken_interval(numbers.amount_range(row.estimate, row.low, row.high), level)
    link = "in" if row.per != 1 else f"{plural(row.events, 'events')} over"
    seen = f"{numbers.count(row.events)} {link} {numbers.count(row.n)} {exposure(row.unit)}"
    return f"{_name(row)}: {seen}, {numbers.amount(row.estimate)} per {per_unit(row.unit)} ({limits})."


def sentence(row, few: bool, level: float) -> str:
    """One row of Rates as a sentence."""
    if not numbers.known(row.n) or row.n == 0:
        return f"{_name(row)}, by {exposure(row.unit)}: {NOBODY}."
    if few:
        link, unit = ("of", plural(row.n, row.unit)) if is_share(row.per, row.unit) else ("in", exposure(row.unit))
        seen = f"{numbers.count(row.events)} {link} {numbers.count(row.n)} {unit}"
        return f"{_name(row)}: {seen}; too few patients or sessions for a rate."
    if row.events == 0:
        return _nothing(row, level)
    return _share(row, level) if is_share(row.per, row.unit) else _per_exposure(row, level)


def _short(row, few: bool) -> str:
    seen = f"{_noun(row.variable)} {numbers.count(row.events)} of {numbers.count(row.n)}"
    if few:
        return seen
    return f"{seen} ({spoken_share(row.estimate, row.low, row.high, row.n)})"


def _by_type(rows: pd.DataFrame, few: pd.Series, level: float) -> str:
    """The further variables of one group in one unit, those with none last and together."""
    each = [(row, bool(few[row.Index])) for row in rows.itertuples() if numbers.known(row.n) and row.n > 0]
    some = [_short(row, is_few) for row, is_few in each if row.events > 0]
    none = _none_recorded(rows[(rows["events"] == 0) & (rows["n"] > 0)])
    if not some:
        return " ".join(none)
    said = f"By type, {each[0][0].unit} with the event, {numbers.interval_name(level)}: {', '.join(some)}."
    return " ".join((said, *none))


def _shares(rows: pd.DataFrame) -> pd.Series:
    return pd.Series([is_share(row.per, row.unit) for row in rows.itertuples()], index=rows.index, dtype=bool)


@findings.register(Rates)
def _(result: Rates, **options) -> tuple[str, ...]:
    table, level = per_thousand(result.frame), result.method.level
    few, grouped = too_few_for_a_rate(table), is_grouped(table)
    variables = in_order(table["variable"])
    in_full = variables if len(variables) <= MOST_IN_FULL else variables[:1]
    said = []
    for group in in_order(table["group"]):
        rows = table[table["group"] == group]
        lead = rows[rows["variable"].isin(in_full)]
        said += [about(group, grouped, sentence(row, bool(few[row.Index]), level)) for row in lead.itertuples()]
        if not grouped:
            rest = rows[~rows["variable"].isin(in_full) & _shares(rows)]
            said.append(_by_type(rest[rest["unit"] == rest["unit"].iloc[0]] if len(rest) else rest, few, level))
    return tuple(each for each in said if each) or ("Nobody is in this table, so there is no rate.",)
