"""How far apart two groups are in a variable, in units of its spread: no test, and no matter of group size."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks


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
