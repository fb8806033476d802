"""Figures with an interval that are no events over a denominator: one panel a measure, one row a variable and group.

Each as text (a share in per cent, a mean of sessions, a median of days), in charts and tables, and in sentences: each
of a few, the range of many.
"""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.drawing import Scale, around_zero, from_zero
from necrostats.present.figures import Figure, chart
from necrostats.present.forest import Mark, Panel, Row
from necrostats.present.numbers import FEWEST_FOR_A_RATE, NO_VALUES, TOO_FEW
from necrostats.present.rates import figure_of, without_small
from necrostats.present.style import style_among, style_at
from necrostats.present.tables import FEW_NOTE, Table, table
from necrostats.present.wording import (
    EVERYONE,
    ended,
    findings,
    in_order,
    is_grouped,
    plain,
    plural,
    sentence_case,
    table_caption,
)
from necrostats.results import Estimates

SHARE = "share"
DIFFERENCE_OF_SHARES = "difference of shares"
DAYS = "days"
NOT_KNOWN = "not known"


def is_difference(unit: object) -> bool:
    """Whether a unit is that of a difference, which may be below 0."""
    return str(unit).startswith("difference")


def factor(unit: object) -> float:
    """What a figure is multiplied by to be written: 100 for shares."""
    return 100.0 if unit in (SHARE, DIFFERENCE_OF_SHARES) else 1.0


def unit_name(unit: object) -> str:
    """The unit as it is written: "%", "percentage points", "sessions"."""
    if unit == SHARE:
        return "%"
    return "percentage points" if unit == DIFFERENCE_OF_SHARES else str(unit).removeprefix("difference in ")


def too_few(table: pd.DataFrame) -> pd.Series:
    """Rows of an Estimates table that rest on so few that no figure is given."""
    return ((table["n"] > 0) & (table["n"] < FEWEST_FOR_A_RATE)).fillna(False).astype(bool)


def _point(row) -> str:
    if row.unit == SHARE:
        return numbers.percent(row.estimate, row.n).removesuffix(" %")
    if row.unit == DAYS:
        return numbers.plain_number(row.estimate)
    scaled = row.estimate * factor(row.unit)
    return numbers.rounded(scaled, 1) if row.unit == DIFFERENCE_OF_SHARES else numbers.amount(scaled)


def _end(row, value: float) -> str:
    """A limit with the decimals of its estimate; one that was not reached is said so."""
    if not numbers.known(value):
        return numbers.NOT_REACHED
    scale = factor(row.unit)
    if row.unit == SHARE:
        return numbers.rounded(value * 100, numbers.percent_decimals(row.estimate, row.n))
    if row.unit == DAYS:
        return numbers.plain_number(value)
    decimals = 1 if row.unit == DIFFERENCE_OF_SHARES else numbers.amount_decimals(row.estimate or value)
    return numbers.rounded(value * scale, decimals)


def limits(row) -> str:
    """The interval as "54–69"; "no interval" if there is none."""
    low, high = numbers.known(row.low), numbers.known(row.high)
    if not low and not high:
        return numbers.NO_INTERVAL
    return numbers.joined(_end(row, row.low), _end(row, row.high))


def text(row, few: bool, *, with_unit: bool = False) -> str:
    """The figure with its interval as "62 (54–69)", or why there is none."""
    if row.n == 0:
        return NO_VALUES
    if few:
        return TOO_FEW
    if not numbers.known(row.estimate):
        return numbers.NOT_REACHED if str(row.measure).startswith("median") else NOT_KNOWN
    unit = f" {unit_name(row.unit)}" if with_unit else ""
    return f"{_point(row)}{unit} ({limits(row)})"


def rests_on(row) -> str:
    """What a figure rests on as "90 / 142"; "142" where nothing is counted of them."""
    n = numbers.count(row.n) or "0"
    return f"{numbers.count(row.events)} / {n}" if numbers.known(row.events) else n


def spoken(row, few: bool, level: float) -> str:
    """The figure in a sentence: "62 % (95 % CI 54–69 %)"."""
    if few or not numbers.known(row.estimate):
        return text(row, few)
    given = limits(row)
    if given == numbers.NO_INTERVAL:
        return f"{_point(row)} {unit_name(row.unit)} ({given})"
    ending = " %" if row.unit == SHARE else ""
    return f"{_point(row)} {unit_name(row.unit)} ({numbers.interval_name(level)} {given}{ending})"


def heading(measure: object, unit: object) -> str:
    """A measure with its unit: "Cumulative incidence of resolution, %"."""
    return f"{sentence_case(str(measure))}, {unit_name(unit)}"


MOST_IN_FULL = 4


def _who(row) -> str:
    name = plain(row.variable)
    return name if row.group == EVERYONE else f"{name}, {plain(row.group)}"


def _base(row) -> str:
    if not numbers.known(row.n):
        return ""
    return f", {'n = ' if not numbers.known(row.events) else ''}{rests_on(row).replace(' / ', ' of ')} " + plural(
        row.n, str(row.of)
    )


def _each(rows: pd.DataFrame, few: pd.Series, level: float) -> str:
    said = [f"{_who(row)} {spoken(row, bool(few[row.Index]), level)}{_base(row)}" for row in rows.itertuples()]
    return "; ".join(said)


def _range(rows: pd.DataFrame, few: pd.Series, level: float) -> str:
    """The lowest and the highest of many figures, and the first, which is the one the others are set beside."""
    shown = rows[~few.loc[rows.index] & rows["estimate"].notna()]
    if shown.empty:
        return "none can be given"
    order = shown.sort_values("estimate", kind="stable")
    low, high, first = next(order.itertuples()), next(order.iloc[::-1].itertuples()), next(rows.itertuples())
    ends = [f"{spoken(row, False, level)} ({_who(row)})" for row in (low, high)]
    said = f"from {ends[0]} to {ends[1]}, over {len(rows)} {plural(len(rows), 'figures')}"
    return f"{said}; {_who(first)} {spoken(first, bool(few[first.Index]), level)}{_base(first)}"


@findings.register(Estimates)
def _(result: Estimates, **options) -> tuple[str, ...]:
    table, level, few = result.frame, result.method.level, too_few(result.frame)
    said = []
    for measure in in_order(table["measure"]):
        rows = table[table["measure"] == measure]
        if rows.empty:
            continue
        words = (_each if len(rows) <= MOST_IN_FULL else _range)(rows, few, level)
        said.append(f"{sentence_case(plain(measure))}: {words}.")
    return tuple(said) or ("There are no figures to words.",)


LIMITS = ["estimate", "low", "high"]


def _row(row, few: bool, label: str, indent: int, style) -> Row:
    known = not few and numbers.known(row.estimate)
    mark = Mark(estimate=row.estimate, low=row.low, high=row.high, style=style)
    return Row(label=label, indent=indent, marks=(mark,) if known else (), texts=(rests_on(row), text(row, few)))


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
    label, scale = unit_name(unit), factor(unit)
    if is_difference(unit):
        return around_zero(shown, label=f"{label}, 0 = no difference", factor=scale)
    return from_zero(shown, label=label, factor=scale, most=1.0 if unit == SHARE else float("inf"))


def _panel(result: Estimates, measure: object, few: pd.Series) -> Panel:
    rows = result.frame[result.frame["measure"] == measure]
    unit, of = rows["unit"].iloc[0], plain(rows["of"].iloc[0])
    counted = f"k / {of}" if rows["events"].notna().any() else of
    columns = (counted, f"{unit_name(unit)} ({numbers.interval_name(result.method.level)})")
    return Panel(
        heading=sentence_case(plain(measure)),
        columns=columns,
        scale=_scale(rows, few, unit),
        rows=tuple(_rows(rows, few, in_order(result.frame["group"]))),
    )


@chart.register(Estimates)
def _(result: Estimates, *, width: str = "page", **options) -> Figure:
    few = too_few(result.frame)
    measures = [each for each in in_order(result.frame["measure"]) if (result.frame["measure"] == each).any()]
    empty = Panel(heading="No figures", columns=(), rows=(), scale=from_zero([], label=""))
    panels = tuple(_panel(result, each, few) for each in measures) or (empty,)
    remark = "Each panel has its own unit and scale" if len(panels) > 1 else ""
    data = without_small(result.frame, few, LIMITS)
    return figure_of(result, panels, data, "Points with intervals", width, remark)


@table.register(Estimates)
def _(result: Estimates, **options) -> Table:
    """A row for each measure, variable and group, with what it rests on."""
    table, few, grouped = result.frame, too_few(result.frame), is_grouped(result.frame)
    columns = [
        "Measure",
        "Variable",
        *(["Group"] if grouped else []),
        "Rests on",
        f"Estimate ({numbers.interval_name(result.method.level)})",
    ]
    made = [
        {
            "Measure": heading(row.measure, row.unit),
            "Variable": sentence_case(plain(row.variable)),
            "Group": "" if row.group == EVERYONE else plain(row.group),
            "Rests on": f"{rests_on(row)} {plain(row.of)}",
            columns[-1]: text(row, bool(few[row.Index])),
        }
        for row in table.itertuples()
    ]
    kept = [{name: line[name] for name in columns} for line in made]
    notes = (*([FEW_NOTE] if few.any() else []), *(ended(note.text) for note in result.notes))
    frame = pd.DataFrame(kept, columns=columns, dtype=object)
    return Table(caption=table_caption(result), frame=frame, row_heads=3 if grouped else 2, notes=notes)
