"""Summaries and comparisons in sentences."""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.cells import fraction, spoken_interval, spoken_share
from necrostats.present.contrasts import pair, rules, spoken, spoken_counts
from necrostats.present.labels import EVERYONE, in_order, is_grouped, plain, sentence_case
from necrostats.present.saying import about, findings, plural
from necrostats.present.small_numbers import NOT_DETERMINED, too_few_to_summarise
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


def _counted(rows: pd.DataFrame) -> str:
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
        each = [_counted(part) for part in sorted(parts, key=lambda part: -part["n"].iloc[0])]
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


def _levels(rows: pd.DataFrame, few: pd.Series) -> str:
    each = list(rows.itertuples())
    name = sentence_case(plain(each[0].variable))
    if not max(row.n for row in each):
        return f"{name}: no values{_missing(each[0])}."
    said = ", ".join(_level(row, bool(few[row.Index])) for row in each if row.level != "")
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
    table, few = result.table, too_few_to_summarise(result.table)
    if is_counts(table):
        return _counts(table)
    if is_completeness(table):
        parts = [(group, table[table["group"] == group]) for group in in_order(table["group"])]
        return tuple(about(group, is_grouped(table), _completeness(rows)) for group, rows in parts)
    is_mean = table["measure"].astype(object) == "geometric mean"
    means = [table[is_mean & (table["variable"] == variable)] for variable in in_order(table.loc[is_mean, "variable"])]
    said = [_means(rows, few, result.method.level) for rows in means if len(rows)]
    return (*said, *_by_group(table[~is_mean], few)) or ("There are no values to describe.",)


def _contrast(row, level: float) -> str:
    name = f"{sentence_case(plain(row.measure))}, {pair(row)}"
    if (variable := getattr(row, "variable", None)) is not None:
        name = f"{sentence_case(plain(variable))}, {plain(row.measure)}, {pair(row)}"
    more = [part for part in (spoken_counts(row), getattr(row, "test", "")) if part]
    return f"{name}: {'; '.join([spoken(row, level), *more])}."


@findings.register(Comparison)
def _(result: Comparison, **options) -> tuple[str, ...]:
    level = result.method.level
    said = [
        _contrast(row, level) for row in result.table.itertuples() if row.group != EVERYONE or row.reference
    ]  # fmt: skip
    return (*said, *rules(result.table)) if said else ("There is nothing to compare.",)
