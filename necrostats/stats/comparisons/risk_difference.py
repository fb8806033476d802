"""Differences of two shares, with limits that hold at small numbers and at 0 and 100 %."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import unknown_choice
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, TwoGroups, empty_groups, two_groups
from necrostats.stats.comparisons.restricted import beyond, difference_variance
from necrostats.stats.intervals import as_given
from necrostats.stats.proportions import wilson
from necrostats.stats.roots import sign_changes

METHODS = {
    "miettinen-nurminen": "Miettinen–Nurminen score interval",
    "newcombe": "Newcombe hybrid score interval",
}


def risk_difference(
    events: ArrayLike,
    n: ArrayLike,
    events_ref: ArrayLike,
    n_ref: ArrayLike,
    *,
    level: float = 0.95,
    method: str = "miettinen-nurminen",
) -> Contrast:
    """events / n − events_ref / n_ref with its limits; numbers or arrays that broadcast.

    `method` "miettinen-nurminen" (Stat Med 1985;4:213-226; variance × N/(N − 1)) or "newcombe" (Stat Med
    1998;17:873-890, method 10, no continuity correction). NaN and a note where a group is empty.
    """
    if method not in METHODS:
        raise unknown_choice("method for a risk difference", method, METHODS)
    groups = two_groups(events, n, events_ref, n_ref)
    limits = _miettinen_nurminen if method == "miettinen-nurminen" else _newcombe
    low, high = limits(groups, level)
    return Contrast(
        estimate=as_given(groups.share - groups.share_ref), low=as_given(low), high=as_given(high),
        measure="risk difference", method=METHODS[method], notes=empty_groups(groups),
    )  # fmt: skip


def _newcombe(groups: TwoGroups, level: float) -> tuple[np.ndarray, np.ndarray]:
    first, second = wilson(groups.a, groups.n, level=level), wilson(groups.b, groups.m, level=level)
    p, q = groups.share, groups.share_ref
    low = p - q - np.hypot(p - first.low, second.high - q)
    high = p - q + np.hypot(first.high - p, q - second.low)
    return np.clip(low, -1, 1), np.clip(high, -1, 1)


def _miettinen_nurminen(groups: TwoGroups, level: float) -> tuple[np.ndarray, np.ndarray]:
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    low, high = np.full(groups.a.shape, np.nan), np.full(groups.a.shape, np.nan)
    full = ~groups.empty
    some = groups.at(full)
    observed = some.share - some.share_ref

    def outside(difference: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Above 0 where the score is beyond z, below 0 where it is not; between −1 and 1."""
        distance = (observed[rows] - difference) ** 2
        return beyond(distance, z**2 * difference_variance(some.at(rows), difference))

    low[full] = sign_changes(outside, np.full(observed.shape, -1.0), observed)
    high[full] = sign_changes(outside, observed, np.full(observed.shape, 1.0))
    return low, high
