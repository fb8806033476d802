"""Charts of summaries: shares as dots, medians with quartiles, geometric means on a logarithmic axis.

Summaries and comparisons in sentences.
"""

from __future__ import annotations

from functools import partial

import pandas as pd

from necrostats.present import cells, numbers
from necrostats.present.cells import fraction, spoken_interval, spoken_share
from necrostats.present.contrasts import pair, rules, spoken, spoken_counts
from necrostats.present.drawing import around_values, from_zero, logarithmic, whole_percent, words_alone, wrapped
from necrostats.present.figures import Figure, chart, check_width
from necrostats.present.forest import Mark, Panel, Row
from necrostats.present.numbers import NOT_DETERMINED, too_few_to_summarise
from necrostats.present.rates import figure_of, without_small
from necrostats.present.style import MOST_STYLES, SMALL, Style, drawing, style_among
from necrostats.present.wording import EVERYONE, about, findings, in_order, is_grouped, plain, plural, sentence_case
from necrostats.results import Comparison, Summary

MOST_INCOMPLETE = 5
MOST_BY_GROUP = 3


def is_completeness(table: pd.DataFrame) -> bool:
    """Whether a Summary has one share a variable and no levels, as the completeness of columns has."""
    if table.empty or not (table["measure"].astype(object) == "share").all():
        return False
    return not (table["level"].astype("string").fillna("") != "").any()


def is_counts(table: pd.DataFrame) -> bool:
    """Whether a Summary only counts, as types of event by grade do."""
    return not table.empty and bool((table["measure"].astype(object) == "count").all())


def _counted_in_words(rows: pd.DataFrame) -> str:
    """One variable: "Bleeding: 22, of them II 13, IIIa 8, not graded 1."; nothing where there is none."""
    total = rows["n"].iloc[0]
    some = rows[rows["events"] > 0]
    by_level = ", ".join(f"{plain(row.level)} {numbers.count(row.events)}" for row in some.itertuples())
    name = sentence_case(plain(rows["variable"].iloc[0]))
    return f"{name}: {numbers.count(total)} recorded ({by_level})." if total else ""


def _counts(table: pd.DataFrame) -> tuple[str, ...]:
    said = []
    for group in in_order(table["group"]):
        rows = table[table["group"] == group]
        parts = [rows[rows["variable"] == variable] for variable in in_order(table["variable"])]
        each = [_counted_in_words(part) for part in sorted(parts, key=lambda part: -part["n"].iloc[0])]
        said += [about(group, is_grouped(table), sentence) for sentence in each if sentence]
    return tuple(said) or ("None was recorded.",)


def _missing(row) -> str:
    return f"; missing in {numbers.count(row.missing)}" if numbers.known(row.missing) and row.missing > 0 else ""


def _median(row, few: bool) -> str:
    name = f"{sentence_case(plain(row.variable))}"
    if not row.n:
        return f"{name}: no values{_missing(row)}."
    if few:
        return f"{name}: {numbers.count(row.n)} {plural(row.n, 'values')}, too few for a median{_missing(row)}."
    ends = numbers.joined(numbers.plain_number(row.low), numbers.plain_number(row.high))
    middle = numbers.plain_number(row.estimate)
    return f"{name}: median {middle} (quartiles {ends}), n = {numbers.count(row.n)}{_missing(row)}."


def _base(row) -> str:
    """What a mean rests on: "31 sessions in 12 patients, no yield at all in 2"."""
    sessions = f"{numbers.count(row.n)} {plural(row.n, 'sessions')}"
    base = f"{sessions} in {numbers.count(row.patients)} {plural(row.patients, 'patients')}"
    if numbers.known(row.events) and row.events > 0:
        base += f", no yield at all in {numbers.count(row.events)}"
    return base + _missing(row)


def _mean(row, level: float) -> str:
    limits = spoken_interval(numbers.amount_range(row.estimate, row.low, row.high), level)
    return f"{plain(row.group)} {numbers.amount(row.estimate)} ({limits}; {_base(row)})"


def _means(rows: pd.DataFrame, few: pd.Series, level: float) -> str:
    """All groups of one variable, in its own unit: the means, then those with too few, then those with nothing."""
    each = [(row, bool(few[row.Index])) for row in rows.itertuples() if row.n]
    given = [_mean(row, level) for row, is_few in each if not is_few and numbers.known(row.estimate)]
    left = [f"{plain(row.group)} ({_base(row)})" for row, is_few in each if is_few]
    unknown = [
        f"{plain(row.group)} ({_base(row)})" for row, is_few in each if not (is_few or numbers.known(row.estimate))
    ]
    name = sentence_case(plain(rows["variable"].iloc[0]))
    said = [f"{name}, geometric mean: {'; '.join(given)}"] if given else [f"{name}: no mean can be given"]
    said += [f"too few for a mean: {', '.join(left)}"] * bool(left)
    said += [f"{NOT_DETERMINED}: {', '.join(unknown)}"] * bool(unknown)
    return "; ".join(said) + "."


def _level(row, few: bool) -> str:
    seen = f"{plain(row.level)} {fraction(row.events, row.n).replace(' / ', ' of ')}"
    if few or not numbers.known(row.estimate):
        return seen
    if numbers.known(row.low):
        return f"{seen} ({spoken_share(row.estimate, row.low, row.high, row.n)})"
    return f"{seen} ({numbers.percent(row.estimate, row.n)})"


_FEW_LEVELS = 3
"""Up to so many levels of a variable a sentence names also those that nobody has."""


def _levels(rows: pd.DataFrame, few: pd.Series) -> str:
    each = list(rows.itertuples())
    name = sentence_case(plain(each[0].variable))
    if not max(row.n for row in each):
        return f"{name}: no values{_missing(each[0])}."
    levels = [row for row in each if row.level != ""]
    shown = [row for row in levels if row.events or len(levels) <= _FEW_LEVELS]
    said = ", ".join(_level(row, bool(few[row.Index])) for row in shown)
    single = "; ".join(_level(row, bool(few[row.Index])).strip() for row in each if row.level == "")
    return f"{name}: {said or single}{_missing(each[0])}."


def _variable(rows: pd.DataFrame, few: pd.Series) -> str:
    first = next(rows.itertuples())
    return _median(first, bool(few[first.Index])) if first.measure == "median" else _levels(rows, few)


def _filled(row) -> str:
    share = numbers.percent(row.estimate, row.n)
    seen = f"{plain(row.variable)} {fraction(row.events, row.n).replace(' / ', ' of ')}"
    return f"{seen} ({share})" if share else seen


def _completeness(rows: pd.DataFrame) -> str:
    known = rows[rows["n"] > 0]
    short = known[known["estimate"] < 1].sort_values(["estimate", "variable"], kind="stable")
    full = len(known) - len(short)
    said = f"{full} of {len(known)} columns are filled in every row"
    if short.empty:
        return f"{said}."
    least = ", ".join(_filled(row) for row in short.head(MOST_INCOMPLETE).itertuples())
    return f"{said}. The least complete, rows filled of all rows: {least}."


def _by_group(table: pd.DataFrame, few: pd.Series) -> list[str]:
    """Each variable in each group; with groups, only the first variables."""
    grouped, variables = is_grouped(table), in_order(table["variable"])
    named = variables[:MOST_BY_GROUP] if grouped else variables
    said = []
    for group in in_order(table["group"]):
        rows = table[table["group"] == group]
        parts = [rows[rows["variable"] == variable] for variable in named]
        said += [about(group, grouped, _variable(part, few)) for part in parts if len(part)]
    further = len(variables) - len(named)
    return said + [f"The table has {further} further {plural(further, 'variables')}."] * bool(further)


@findings.register(Summary)
def _(result: Summary, **options) -> tuple[str, ...]:
    table, few = result.frame, too_few_to_summarise(result.frame)
    if is_counts(table):
        return _counts(table)
    if is_completeness(table):
        parts = [(group, table[table["group"] == group]) for group in in_order(table["group"])]
        return tuple(about(group, is_grouped(table), _completeness(rows)) for group, rows in parts)
    is_mean = table["measure"].astype(object) == "geometric mean"
    means = [table[is_mean & (table["variable"] == variable)] for variable in in_order(table.loc[is_mean, "variable"])]
    said = [_means(rows, few, result.method.level) for rows in means if len(rows)]
    return (*said, *_by_group(table[~is_mean], few)) or ("There are no values to words.",)


def _contrast(row, level: float) -> str:
    name = f"{sentence_case(plain(row.measure))}, {pair(row)}"
    if (variable := getattr(row, "variable", None)) is not None:
        name = f"{sentence_case(plain(variable))}, {plain(row.measure)}, {pair(row)}"
    more = [part for part in (spoken_counts(row), getattr(row, "test", "")) if part]
    return f"{name}: {'; '.join([spoken(row, level), *more])}."


@findings.register(Comparison)
def _(result: Comparison, **options) -> tuple[str, ...]:
    level = result.method.level
    said = [_contrast(row, level) for row in result.frame.itertuples() if row.group != EVERYONE or row.reference]
    return (*said, *rules(result.frame)) if said else ("There is nothing to compare.",)


_TIED = "\N{NO-BREAK SPACE}"
LIMITS = ["estimate", "low", "high"]
COUNTS_WIDTH = 1.1  # inches for the levels of a count, broken into lines


def _unit(variable: object) -> str:
    """The unit after the comma in a variable's name: "yield, ml" → "ml"."""
    return plain(variable).rpartition(", ")[2] if ", " in plain(variable) else ""


def _group_name(group: object) -> str:
    return "All" if group == EVERYONE else plain(group)


def _mark(row, few: bool, style: Style) -> tuple[Mark, ...]:
    if few or not numbers.known(row.n) or row.n == 0:
        return ()
    hollow = row.measure == "share" and row.events == 0
    return (Mark(estimate=row.estimate, low=row.low, high=row.high, style=style, hollow=hollow),)


def _style(table: pd.DataFrame, group: object) -> Style:
    return style_among(in_order(table["group"]), group)


def _counted(row) -> str:
    if row.measure == "share":
        return cells.fraction(row.events, row.n)
    return numbers.count(row.n) or "0"


def _row(table: pd.DataFrame, row, few: pd.Series, label: str, indent: int) -> Row:
    is_few = bool(few[row.Index])
    return Row(
        label=label,
        indent=indent,
        marks=_mark(row, is_few, _style(table, row.group)),
        texts=(_counted(row), cells.description(row, is_few)),
    )


def _mean_label(row) -> str:
    patients = f"{numbers.count(row.patients) or '0'}{_TIED}{plural(row.patients, 'patients')}"
    return f"{_group_name(row.group)} ({patients}, {numbers.count(row.n) or '0'}{_TIED}{plural(row.n, 'sessions')})"


def _mean_row(table: pd.DataFrame, row, few: pd.Series) -> Row:
    made = _row(table, row, few, _mean_label(row), 0)
    return Row(label=made.label, marks=made.marks, texts=(numbers.count(row.events), made.texts[1]))


def _shown(rows: pd.DataFrame, few: pd.Series) -> pd.DataFrame:
    return rows.loc[~few.loc[rows.index], LIMITS].astype(float)


def _mean_panel(result: Summary, variable: object, few: pd.Series) -> Panel:
    table = result.frame
    rows = table[table["variable"] == variable]
    shown = _shown(rows, few)
    unit = _unit(variable)
    scale = logarithmic(
        shown["estimate"], shown[["low", "high"]].to_numpy().ravel(), label=f"{unit or plain(variable)}, log scale"
    )
    columns = ("no yield", f"mean ({numbers.interval_name(result.method.level)})")
    made = tuple(_mean_row(table, row, few) for row in rows.itertuples())
    heading = f"{sentence_case(plain(variable))}: geometric mean"
    return Panel(heading=heading, columns=columns, rows=made, scale=scale)


def _median_panel(result: Summary, variable: object, few: pd.Series) -> Panel:
    table = result.frame
    rows = table[table["variable"] == variable]
    values = _shown(rows, few).to_numpy().ravel()
    label = plain(variable)
    made = tuple(_row(table, row, few, _group_name(row.group), 0) for row in rows.itertuples())
    return Panel(
        heading=sentence_case(label),
        columns=("n", "median (quartiles)"),
        rows=made,
        scale=around_values(values, label=_unit(variable) or label),
    )


def _compared_rows(table: pd.DataFrame, rows: pd.DataFrame, few: pd.Series, groups: list) -> list[Row]:
    """A variable's name and its levels, each with the marks of all groups in one row."""
    made = [Row(label=sentence_case(plain(rows["variable"].iloc[0])), bold=True, starts=True)]
    for level in in_order(rows["level"]):
        here = {row.group: row for row in rows[rows["level"] == level].itertuples()}
        each = [here[group] for group in groups if group in here]
        marks = [mark for row in each for mark in _mark(row, bool(few[row.Index]), _style(table, row.group))]
        texts = tuple(_counted(here[group]) if group in here else "" for group in groups)
        made.append(Row(label=plain(level), indent=1, marks=tuple(marks), texts=texts))
    return made


def _compared_panel(result: Summary, variables: list, few: pd.Series, groups: list) -> Panel:
    """Shares of a few groups: a mark for each group in the row of a level, k / n in a column for each group."""
    table, made = result.frame, []
    for variable in variables:
        made += _compared_rows(table, table[table["variable"] == variable], few, groups)
    return Panel(
        heading="Shares of those with a value",
        columns=tuple(f"{_group_name(group)}, k / n" for group in groups),
        rows=tuple(made),
        scale=whole_percent("%"),
        keys=tuple(_style(table, group) for group in groups),
    )


def _level_rows(table: pd.DataFrame, rows: pd.DataFrame, few: pd.Series) -> list[Row]:
    """A variable's name, its levels and, where there are groups, each group under its level."""
    made = [Row(label=sentence_case(plain(rows["variable"].iloc[0])), bold=True, starts=True)]
    grouped = is_grouped(table)
    for level in in_order(rows["level"]):
        here = rows[rows["level"] == level]
        if grouped and len(here):
            made.append(Row(label=plain(level), indent=1))
        made += [
            _row(table, row, few, plain(row.group) if grouped else plain(level), 1 + grouped)
            for row in here.itertuples()
        ]
    return made


def _share_columns(result: Summary, rows: pd.DataFrame) -> tuple[str, str]:
    with_interval = rows["low"].notna().any()
    return ("k / n", f"% ({numbers.interval_name(result.method.level)})" if with_interval else "%")


def _levels_panel(result: Summary, variables: list, few: pd.Series) -> Panel:
    table, made = result.frame, []
    groups = in_order(table["group"])
    if is_grouped(table) and len(groups) <= MOST_STYLES:
        return _compared_panel(result, variables, few, groups)
    rows = table[table["variable"].isin(variables)]
    for variable in variables:
        made += _level_rows(table, table[table["variable"] == variable], few)
    columns = _share_columns(result, rows)
    return Panel(heading="Shares of those with a value", columns=columns, rows=tuple(made), scale=whole_percent("%"))


def _sorted(rows: pd.DataFrame) -> pd.DataFrame:
    """The least complete variable first; the groups of a variable stay together."""
    least = rows.groupby("variable", observed=True)["estimate"].min()
    order = rows["variable"].astype(object).map(least.to_dict()).astype(float)
    name = rows["variable"].astype(str)
    return rows.assign(_least=order, _name=name).sort_values(["_least", "_name"], kind="stable")


def with_gaps(table: pd.DataFrame, below: float = 1.0) -> pd.DataFrame:
    """The rows of the columns filled in less than this share of their rows.

    Where every column is filled as well and `below` is 1, all of them.
    """
    least = table.groupby(table["variable"].astype(object))["estimate"].transform("min")
    gaps = table[(least < below).to_numpy()]
    return gaps if len(gaps) or below < 1 else table


def _completeness_panel(result: Summary, few: pd.Series, below: float) -> Panel:
    table = result.frame
    grouped, rows = is_grouped(table), _sorted(with_gaps(table, below))
    made = []
    for variable, here in rows.groupby("variable", observed=True, sort=False):
        if grouped:
            made.append(Row(label=plain(variable), bold=True, starts=True))
        made += [
            _row(table, row, few, plain(row.group if grouped else variable), int(grouped)) for row in here.itertuples()
        ]
    columns = _share_columns(result, table)
    return Panel(heading="Rows with a value", columns=columns, rows=tuple(made), scale=whole_percent("% of rows"))


def _without_a_mean(table: pd.DataFrame, few: pd.Series) -> list:
    """Variables of which no group has a mean to draw, unless that is every one of them."""
    means = table[table["measure"].astype(object) == "geometric mean"]
    drawn = set(means.loc[~few.loc[means.index] & means["estimate"].notna(), "variable"])
    return [variable for variable in in_order(means["variable"]) if drawn and variable not in drawn]


def _count_row(rows: pd.DataFrame, label: str, indent: int, style: Style) -> Row:
    """A mark at the total, and the total by level in words."""
    total = float(rows["n"].iloc[0])
    mark = Mark(estimate=total, low=float("nan"), high=float("nan"), style=style, hollow=total == 0)
    some = rows[rows["events"] > 0]
    by_level = ", ".join(f"{plain(row.level)} {numbers.count(row.events)}" for row in some.itertuples())
    texts = numbers.count(total), wrapped(by_level, COUNTS_WIDTH, SMALL, most=6)
    return Row(label=label, indent=indent, marks=(mark,), texts=texts)


def _counts_panel(result: Summary) -> Panel:
    """How many there were of each variable, by level; in groups under the variable's name."""
    table, grouped, made = result.frame, is_grouped(result.frame), []
    for variable in in_order(table["variable"]):
        rows = table[table["variable"] == variable]
        name = sentence_case(plain(variable))
        if grouped:
            made.append(Row(label=name, bold=True, starts=True))
        for group in in_order(table["group"]):
            here, label = rows[rows["group"] == group], plain(group) if grouped else name
            made.append(_count_row(here, label, int(grouped), _style(table, group)))
    scale = from_zero(table["n"].astype(float), label="recorded")
    return Panel(heading="Recorded", columns=("n", "of them"), rows=tuple(made), scale=scale)


def _panels(result: Summary, few: pd.Series, below: float) -> tuple[Panel, ...]:
    table = result.frame
    if is_counts(table):
        return (_counts_panel(result),)
    if is_completeness(table):
        return (_completeness_panel(result, few, below),)
    panels, levels = [], []
    for variable in in_order(table["variable"]):
        measures = table.loc[table["variable"] == variable, "measure"].astype(object).tolist()
        if not measures:
            continue
        if measures[0] == "geometric mean":
            if variable in _without_a_mean(table, few):
                continue
            panels.append(_mean_panel(result, variable, few))
        elif measures[0] == "median":
            panels.append(_median_panel(result, variable, few))
        else:
            levels.append(variable)
    shares = [_levels_panel(result, levels, few)] if levels else []
    return (*shares, *panels)


@chart.register(Summary)
def _(result: Summary, *, width: str = "page", below: float = 1.0, **options) -> Figure:
    """Shares as dots, medians and means with their limits. Of completeness the columns filled `below` a share only."""
    few = too_few_to_summarise(result.frame)
    if is_completeness(result.frame) and with_gaps(result.frame, below).empty:
        return _nothing_missing(result, width, below)
    nothing = Panel(heading="No values", columns=(), rows=(), scale=from_zero([], label=""))
    panels = _panels(result, few, below) or (nothing,)
    remark = "Each panel has its own unit and scale" if len(panels) > 1 else ""
    undrawn = ", ".join(plain(variable) for variable in _without_a_mean(result.frame, few))
    in_table = f"Too few for any mean, so in the table only: {undrawn}" if undrawn else ""
    data = without_small(result.frame, few, LIMITS)
    return figure_of(
        result, panels, data, "Dots with bars", width, remark, in_table, _left_out_when_full(result, below)
    )


def _nothing_missing(result: Summary, width: str, below: float) -> Figure:
    """A sentence where no column has gaps that would be drawn."""
    said = f"{result.title}: no column is filled in less than {100 * below:g} % of its rows."
    redraw, inches = partial(words_alone, said), check_width(width)
    with drawing():
        fig = redraw(inches)
    return Figure(fig=fig, alt=said, caption="", data=result.frame.iloc[:0], redraw=redraw)


def _left_out_when_full(result: Summary, below: float) -> str:
    """How many columns are not drawn because too little is missing of them."""
    table = result.frame
    if not is_completeness(table):
        return ""
    full = table["variable"].nunique() - with_gaps(table, below)["variable"].nunique()
    how = "without a gap" if below == 1 else f"filled in at least {100 * below:g} % of rows"
    return f"{full} {plural(full, 'columns')} {how}, or without a row, not drawn" if full else ""
