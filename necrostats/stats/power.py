"""What a series could show: the smallest difference it would detect, and how much more would pin it down."""

from __future__ import annotations

import math

import numpy as np
from scipy import optimize, special, stats

from necrostats.errors import StatisticsError
from necrostats.stats import checks


def power_of_t(difference: float, error: float, df: float, *, level: float = 0.95) -> float:
    """The chance that a two-sided t test finds a true `difference` estimated with this standard `error`.

    Noncentral t. Cohen J. Statistical Power Analysis for the Behavioral Sciences, 2nd ed. 1988.
    """
    error, df, level = checks.positive("error", error), checks.positive("df", df), checks.confidence_level(level)
    apart = checks.finite("difference", difference)
    if apart.ndim:
        raise StatisticsError("difference holds several numbers: give one.")
    limit, shift = special.stdtrit(df, (1 + level) / 2), abs(float(apart)) / error
    far = np.nan_to_num(stats.nct.cdf(-limit, df, shift))  # scipy gives NaN where it is below 1e-15
    return float(stats.nct.sf(limit, df, shift) + far)


def smallest_detectable(error: float, df: float, *, power: float = 0.8, level: float = 0.95) -> float:
    """The smallest true difference that a two-sided t test with this standard error finds with such power."""
    power = checks.probability("power", power)
    if power <= 1 - checks.confidence_level(level):
        raise StatisticsError(
            f"power is {power:g}: it must be more than the {1 - level:g} found where nothing differs."
        )
    unit = checks.positive("error", error)
    most = 8.0
    while power_of_t(most, 1.0, df, level=level) < power:
        most *= 2
    found = optimize.brentq(lambda each: power_of_t(each, 1.0, df, level=level) - power, 0, most, xtol=1e-12)
    return float(found * unit)


def further_in_each(
    error: float, one: float, other: float, half_width: float, *, level: float = 0.95, most: int = 1_000_000
) -> int | None:
    """How many more of each group until the half-width of the interval is at most so much; None beyond `most`.

    The error of today's `one` and `other` is taken to shrink as √(1/one + 1/other) does; normal limits.
    """
    error, half_width = checks.positive("error", error), checks.positive("half_width", half_width)
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    per_unit = error**2 / (1 / checks.positive("one", one) + 1 / checks.positive("other", other))

    def wide(more: float) -> bool:
        return z * math.sqrt(per_unit * (1 / (one + more) + 1 / (other + more))) > half_width

    if not wide(0):
        return 0
    if wide(most):
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if wide(middle) else (low, middle)
    return high


def event_free_to_exclude(rate: float, *, level: float = 0.95) -> int:
    """How many units without one event put the one-sided upper limit of the rate below `rate`: 59 for 5 % at 95 %.

    The smallest n with (1 − rate)ⁿ ≤ 1 − level.
    """
    rate, level = checks.probability("rate", rate), checks.confidence_level(level)
    return math.ceil(math.log1p(-level) / math.log1p(-rate) - 1e-9)


def upper_limit(events: int, n: int, *, level: float = 0.95) -> float:
    """The exact one-sided upper limit of a rate (Clopper–Pearson); 1 of nobody."""
    k, total = checks.events_of(events, n)
    if total == 0 or k == total:
        return 1.0
    return float(special.betaincinv(k + 1, total - k, checks.confidence_level(level)))


def further_event_free(events: int, n: int, rate: float, *, level: float = 0.95, most: int = 1_000_000) -> int | None:
    """How many more units, none with an event, put the one-sided upper limit at `rate` or less; None beyond `most`."""
    checks.probability("rate", rate)
    if upper_limit(events, n, level=level) <= rate:
        return 0
    if upper_limit(events, n + most, level=level) > rate:
        return None
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if upper_limit(events, n + middle, level=level) <= rate else (middle, high)
    return high


def detectable_share(reference: float, n: int, n_ref: int, *, power: float = 0.8, level: float = 0.95) -> float:
    """The smallest larger share that would be told from `reference` with such power; NaN where none below 1 is.

    Normal approximation with unpooled variances; units taken as independent.
    Fleiss JL. Statistical Methods for Rates and Proportions, 3rd ed. 2003, chapter 4 (from memory).
    """
    if not 0 <= reference < 1 or min(n, n_ref) < 1:
        return float("nan")
    z = special.ndtri((1 + checks.confidence_level(level)) / 2) + special.ndtri(checks.probability("power", power))

    def gap(share: float) -> float:
        return share - reference - z * np.sqrt(share * (1 - share) / n + reference * (1 - reference) / n_ref)

    grid = np.linspace(reference, 1, 2001)[1:]
    above = np.flatnonzero(np.array([gap(each) for each in grid]) >= 0)
    if not above.size or above[0] == 0:
        return float("nan") if not above.size else float(grid[0])
    return float(optimize.brentq(gap, grid[above[0] - 1], grid[above[0]]))
