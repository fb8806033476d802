"""The text of one figure with its interval: a share in per cent, a mean of sessions, a median of days.

Figures with an interval in sentences: each of a few, the range of many.
"""

from __future__ import annotations

import pandas as pd

from necrostats.present import numbers
from necrostats.present.labels import EVERYONE, in_order, plain, sentence_case
from necrostats.present.numbers import FEWEST_FOR_A_RATE, NO_VALUES, TOO_FEW
from necrostats.present.saying import findings, plural
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
