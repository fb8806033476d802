"""The text of one result: the same words in a figure, in a table and in a sentence."""

from __future__ import annotations

import re

from necrostats.present import numbers
from necrostats.present.numbers import NO_VALUES, NOBODY, NOT_DETERMINED, TOO_FEW

_MULTIPLE = re.compile(r"\d[\d,.]*\s+")


_EACH = "events per "


def is_share(per: float, unit: object) -> bool:
    """Whether a row of Rates is a share of its denominator; else it is a rate per so much exposure, or per patient."""
    return per == 1 and not str(unit).startswith(_EACH)


def per_unit(unit: object) -> str:
    """What a rate is per: "100 patient-days" as it stands, "events per patient" → "patient"."""
    return str(unit).removeprefix(_EACH)


def exposure(unit: str) -> str:
    """What a rate's denominator counts: "100 patient-days" → "patient-days", "events per patient" → "patients"."""
    if str(unit).startswith(_EACH):
        return f"{per_unit(unit)}s"
    return _MULTIPLE.sub("", str(unit), count=1)


def fraction(events: object, n: object) -> str:
    """Events over a denominator as "14 / 880"."""
    return f"{numbers.count(events) or '0'} / {numbers.count(n) or '0'}"


def share(estimate: object, low: object, high: object, n: float) -> str:
    """A share with its interval as "62 % (54–69)"."""
    point = numbers.percent(estimate, n)
    return f"{point} ({numbers.percent_range(estimate, low, high, n)})" if point else NO_VALUES


def amount(estimate: object, low: object, high: object) -> str:
    """A mean, ratio or rate with its interval as "184 (150–226)"."""
    point = numbers.amount(estimate)
    return f"{point} ({numbers.amount_range(estimate, low, high)})" if point else NO_VALUES


def spoken_share(estimate: object, low: object, high: object, n: float, level: float | None = None) -> str:
    """What stands in the brackets of a sentence: "4.7 %, 95 % CI 2.4–8.2 %"; without a level "4.7 %, 2.4–8.2 %"."""
    name = f"{numbers.interval_name(level)} " if level else ""
    limits = numbers.percent_range(estimate, low, high, n)
    ending = limits if limits == numbers.NO_INTERVAL else f"{name}{limits} %"
    return f"{numbers.percent(estimate, n)}, {ending}"


def spoken_interval(limits: str, level: float) -> str:
    """An interval in the brackets of a sentence: "95 % CI 0.04–0.28"."""
    return limits if limits == numbers.NO_INTERVAL else f"{numbers.interval_name(level)} {limits}"


def rate(row, few: bool) -> str:
    """The rate of one row of Rates with its interval, or why there is none."""
    if not numbers.known(row.n) or row.n == 0:
        return NOBODY
    if few:
        return TOO_FEW
    limits = (row.estimate, row.low, row.high)
    return share(*limits, row.n) if is_share(row.per, row.unit) else amount(*limits)


def median(estimate: object, low: object, high: object) -> str:
    """A median with its quartiles as "56 (44–67)"."""
    point = numbers.plain_number(estimate)
    ends = numbers.plain_number(low), numbers.plain_number(high)
    return f"{point} ({numbers.joined(*ends)})" if all(ends) else point or NO_VALUES


def median_reached(estimate: object, low: object, high: object) -> str:
    """The median of a curve with its interval as "62 (50–75)"; an end beyond the data is "not reached"."""
    point = numbers.reached(estimate)
    if point == numbers.NOT_REACHED and not numbers.known(low):
        return point
    return f"{point} ({median_range(low, high)})"


def median_range(low: object, high: object) -> str:
    """The limits of the median of a curve: "50–75", "50 to not reached"; without a lower one "no interval"."""
    if not numbers.known(low):
        return numbers.NO_INTERVAL
    return numbers.joined(numbers.reached(low), numbers.reached(high))


def description(row, few: bool) -> str:
    """The estimate of one row of a Summary, or why there is none."""
    if not numbers.known(row.n) or row.n == 0:
        return NO_VALUES
    if few:
        return TOO_FEW
    if row.measure == "median":
        return median(row.estimate, row.low, row.high)
    if row.measure == "geometric mean":
        known = numbers.known(row.estimate)
        return amount(row.estimate, row.low, row.high) if known else NOT_DETERMINED
    if numbers.known(row.low) and numbers.known(row.high):
        return share(row.estimate, row.low, row.high, row.n)
    return numbers.percent(row.estimate, row.n) or NO_VALUES
