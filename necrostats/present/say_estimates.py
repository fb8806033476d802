"""Figures with an interval in sentences: each of a few, the range of many."""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.estimate_cells import rests_on, spoken, too_few
from necrostats.present.labels import EVERYONE, in_order, plain, sentence_case
from necrostats.present.saying import findings, plural
from necrostats.results import Estimates

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
    table, level, few = result.table, result.method.level, too_few(result.table)
    said = []
    for measure in in_order(table["measure"]):
        rows = table[table["measure"] == measure]
        if rows.empty:
            continue
        words = (_each if len(rows) <= MOST_IN_FULL else _range)(rows, few, level)
        said.append(f"{sentence_case(plain(measure))}: {words}.")
    return tuple(said) or ("There are no figures to describe.",)
