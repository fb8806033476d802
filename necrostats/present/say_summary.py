"""Summaries and comparisons in sentences."""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.cells import fraction, spoken_interval
from necrostats.present.contrasts import pair, spoken
from necrostats.present.labels import EVERYONE, in_order, is_grouped, plain, sentence_case
from necrostats.present.saying import about, findings, plural
from necrostats.present.small_numbers import too_few_to_summarise
from necrostats.results import Comparison, Summary

MOST_INCOMPLETE = 5


def is_completeness(table: pd.DataFrame) -> bool:
    """Whether a Summary has one share a variable and no levels, as the completeness of columns has."""
    if table.empty or not (table["measure"].astype(object) == "share").all():
        return False
    return not (table["level"].astype("string").fillna("") != "").any()


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


def _mean(row, few: bool, level: float) -> str:
    name = sentence_case(plain(row.variable))
    base = f"{numbers.count(row.n)} {plural(row.n, 'sessions')} in {numbers.count(row.patients)} " + plural(
        row.patients, "patients"
    )
    if numbers.known(row.events) and row.events > 0:
        base += f", no yield at all in {numbers.count(row.events)}"
    if not row.n:
        return f"{name}: no values{_missing(row)}."
    if few or not numbers.known(row.estimate):
        reason = "too few for a mean" if few else "no mean could be estimated"
        return f"{name}: {base}; {reason}{_missing(row)}."
    limits = spoken_interval(numbers.amount_range(row.estimate, row.low, row.high), level)
    return f"{name}: geometric mean {numbers.amount(row.estimate)} ({limits}); {base}{_missing(row)}."


def _level(row, few: bool) -> str:
    seen = f"{plain(row.level)} {fraction(row.events, row.n).replace(' / ', ' of ')}"
    share = numbers.percent(row.estimate, row.n)
    return f"{seen} ({share})" if share and not few else seen


def _levels(rows: pd.DataFrame, few: pd.Series) -> str:
    each = list(rows.itertuples())
    name = sentence_case(plain(each[0].variable))
    if not max(row.n for row in each):
        return f"{name}: no values{_missing(each[0])}."
    said = ", ".join(_level(row, bool(few[row.Index])) for row in each if row.level != "")
    single = "; ".join(_level(row, bool(few[row.Index])).strip() for row in each if row.level == "")
    return f"{name}: {said or single}{_missing(each[0])}."


def _variable(rows: pd.DataFrame, few: pd.Series, level: float) -> str:
    first = next(rows.itertuples())
    if first.measure == "median":
        return _median(first, bool(few[first.Index]))
    if first.measure == "geometric mean":
        return _mean(first, bool(few[first.Index]), level)
    return _levels(rows, few)


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


@findings.register(Summary)
def _(result: Summary, **options) -> tuple[str, ...]:
    table, grouped = result.table, is_grouped(result.table)
    few = too_few_to_summarise(table)
    said = []
    for group in in_order(table["group"]):
        rows = table[table["group"] == group]
        if is_completeness(table):
            said.append(about(group, grouped, _completeness(rows)))
            continue
        for variable in in_order(rows["variable"]):
            here = rows[rows["variable"] == variable]
            if len(here):
                said.append(about(group, grouped, _variable(here, few, result.method.level)))
    return tuple(said) or ("There are no values to describe.",)


@findings.register(Comparison)
def _(result: Comparison, **options) -> tuple[str, ...]:
    level = result.method.level
    said = [
        f"{sentence_case(plain(row.measure))}, {pair(row)}: {spoken(row, level)}."
        for row in result.table.itertuples()
        if row.group != EVERYONE or row.reference
    ]
    return tuple(said) or ("There is nothing to compare.",)
