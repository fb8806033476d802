"""Groups that differ: how much they do at the start, and what something unmeasured would have to be to matter."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.stats import checks

MEASURES = ("risk ratio", "rate ratio", "odds ratio", "hazard ratio")


@dataclass(frozen=True, kw_only=True)
class EValue:
    """The least risk ratio that something unmeasured must have with both exposure and outcome to move the estimate, or
    the limit nearer to 1, to 1. `limit` is 1 where the interval holds 1, NaN where none was given."""

    estimate: float
    limit: float


def e_value(
    estimate: float,
    low: float | None = None,
    high: float | None = None,
    *,
    measure: str = "risk ratio",
    rare: bool = True,
) -> EValue:
    """The E-value of a ratio and of its limit nearer to 1. VanderWeele TJ, Ding P. Ann Intern Med 2017;167:268-274.

    `measure` "risk ratio", "rate ratio", "odds ratio" or "hazard ratio"; where the outcome is not `rare` (above 15 %),
    an odds ratio enters as its square root and a hazard ratio as (1 − 0.5^√HR) / (1 − 0.5^√(1/HR)).
    """
    if measure not in MEASURES:
        raise unknown_choice("measure for an E-value", measure, MEASURES)
    given = [None if each is None else _as_risk_ratio(each, measure, rare) for each in (estimate, low, high)]
    if (low is None) != (high is None):
        raise StatisticsError("Give both limits, or neither.")
    if low is None:
        return EValue(estimate=_e(given[0]), limit=np.nan)
    if not given[1] <= given[0] <= given[2]:
        raise StatisticsError(f"The estimate {estimate} does not lie between its limits, {low} and {high}.")
    nearer = 1.0 if given[1] <= 1 <= given[2] else given[1] if given[0] > 1 else given[2]
    return EValue(estimate=_e(given[0]), limit=_e(nearer))


def _as_risk_ratio(value: float, measure: str, rare: bool) -> float:
    ratio = checks.positive("ratio", value)
    if rare or measure in ("risk ratio", "rate ratio"):
        return ratio
    if measure == "odds ratio":
        return float(np.sqrt(ratio))
    return float((1 - 0.5 ** np.sqrt(ratio)) / (1 - 0.5 ** np.sqrt(1 / ratio)))


def _e(ratio: float) -> float:
    away = max(ratio, 1 / ratio)
    return float(away + np.sqrt(away * (away - 1)))


PER_STANDARD_DEVIATION = 0.91  # log risk ratio of a difference of one standard deviation, from the paper (from memory)


def e_value_of_difference(difference: float, low: float, high: float, standard_deviation: float) -> EValue:
    """The E-value of a difference of means, taken as the risk ratio exp(0.91 · difference / standard deviation)."""
    by = PER_STANDARD_DEVIATION / checks.positive("standard_deviation", standard_deviation)
    return e_value(*(float(np.exp(by * each)) for each in checks.finite("difference", [difference, low, high])))


def mean_gap(one: ArrayLike, two: ArrayLike) -> float:
    """Difference of two means over the root of the mean of both variances (n − 1), 0 or more.

    NaN where a group has fewer than 2 values, or where neither varies and the means differ. Source: Austin PC, Stat
    Med 2009;28:3083-3107.
    """
    first, second = (checks.finite(name, each).ravel() for name, each in (("one", one), ("two", two)))
    if min(first.size, second.size) < 2:
        return np.nan
    return _over(abs(first.mean() - second.mean()), np.sqrt((first.var(ddof=1) + second.var(ddof=1)) / 2))


def share_gap(one: ArrayLike, two: ArrayLike) -> float:
    """Distance between the shares of L levels in two groups, from their counts (L,), 0 or more.

    With two levels it is |p − q| over the root of the mean of p(1 − p) and q(1 − q). With more it is the Mahalanobis
    distance of the shares without the first level, on the mean of both multinomial covariances. NaN where a group is
    empty, or where levels lie wholly in different groups. Source: Yang D and Dalton JE, SAS Global Forum 2012, paper
    335.
    """
    counts = np.array([checks.finite("one", one), checks.finite("two", two)], dtype=float)
    counts = counts[:, counts.sum(axis=0) > 0]
    if not counts.sum(axis=1).all():
        return np.nan
    shares = (counts / counts.sum(axis=1, keepdims=True))[:, 1:]
    gap = shares[0] - shares[1]
    if not gap.size or not gap.any():
        return 0.0
    spread = sum(np.diag(each) - np.outer(each, each) for each in shares) / 2
    if np.linalg.matrix_rank(spread) < gap.size:
        return np.nan
    return float(np.sqrt(gap @ np.linalg.solve(spread, gap)))


def largest_gap(groups: list, gap) -> float:
    """The largest of the gaps between any two groups; NaN where none of them is known."""
    gaps = [gap(*pair) for pair in combinations(groups, 2)]
    known = [each for each in gaps if not np.isnan(each)]
    return max(known) if known else np.nan


def _over(gap: float, spread: float) -> float:
    if spread > 0:
        return float(gap / spread)
    return 0.0 if gap == 0 else np.nan
