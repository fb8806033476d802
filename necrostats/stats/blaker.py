"""Blaker's exact interval for a share: never longer than Clopper–Pearson's, and always inside it.

A share p is accepted if the smaller tail at k, plus the largest opposite tail no larger than it, exceeds 1 − level.
That sum jumps up whenever the opposite tail takes in one more outcome. Between Clopper–Pearson's limit and the next
jump the opposite tail stands still and the sum crosses 1 − level at most once, so the limit is the one point where
"accepted by growing" or "accepted by the jump" begins: one sign change, nothing to step over.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.stats import checks
from necrostats.stats.binomial_limits import exact_limits
from necrostats.stats.distinct import distinct_pairs
from necrostats.stats.intervals import Interval, as_given, empty_denominators
from necrostats.stats.roots import sign_changes


def blaker(events: ArrayLike, n: ArrayLike, *, level: float = 0.95) -> Interval:
    """Blaker's exact limits: `events` of `n`, numbers or arrays that broadcast.

    The accepted shares may have gaps; the limits are the least and the greatest of them. Where n is 0, NaN and a note.
    Blaker H. Can J Stat 2000;28:783-798. Raises StatisticsError for counts that cannot be.
    """
    k, total = checks.events_of(events, n)
    alpha = 1 - checks.confidence_level(level)
    pairs = distinct_pairs(k, total)
    some = pairs.n > 0
    share = np.divide(pairs.k, pairs.n, out=np.full(pairs.k.shape, np.nan), where=some)
    lowest, highest = exact_limits(pairs.k, pairs.n, alpha / 2)
    low = np.maximum(_lower(pairs.k, pairs.n, alpha), lowest)
    high = np.minimum(1 - _lower(pairs.n - pairs.k, pairs.n, alpha), highest)
    return Interval(
        estimate=as_given(pairs.spread(share)),
        low=as_given(pairs.spread(np.where(some, low, np.nan))),
        high=as_given(pairs.spread(np.where(some, high, np.nan))),
        notes=empty_denominators(total),
    )


def _lower(k: np.ndarray, n: np.ndarray, alpha: float) -> np.ndarray:
    """The least share accepted for k of n."""
    limit = np.zeros(k.shape)
    some = np.flatnonzero(k > 0)
    k, n = k[some], n[some]
    start, end = (special.betaincinv(k, n - k + 1, tail) for tail in (alpha / 2, alpha))
    opposite = _largest_tail(n, start, alpha / 2)
    log_ways = _log_ways(n, opposite + 1)

    def accepted(p: np.ndarray, rows: np.ndarray) -> np.ndarray:
        total, j = n[rows], opposite[rows]
        tail = special.betainc(k[rows], total - k[rows] + 1, p)
        below = _at_most(j, total, p)
        one_more = below + np.exp(log_ways[rows] + (j + 1) * np.log(p) + (total - j - 1) * np.log1p(-p))
        return np.maximum(tail + below - alpha, tail - one_more)

    limit[some] = sign_changes(accepted, start, end)
    return limit


def _log_ways(n: np.ndarray, k: np.ndarray) -> np.ndarray:
    """The log of the ways to choose k of n."""
    return -np.log1p(n) - special.betaln(n - k + 1, k + 1)


def _at_most(j: np.ndarray, n: np.ndarray, p: np.ndarray) -> np.ndarray:
    """P(X ≤ j) for n trials; 0 where j is −1."""
    some = np.maximum(j, 0)
    return np.where(j < 0, 0.0, special.betainc(n - some, some + 1, 1 - p))  # betaincc takes five times as long


def _largest_tail(n: np.ndarray, p: np.ndarray, tail: float) -> np.ndarray:
    """The largest j with P(X ≤ j) no more than `tail`; −1 where there is none."""
    spread = np.sqrt(n * p * (1 - p))
    j = np.clip(np.floor(n * p + special.ndtri(tail) * spread), -1, n - 1)
    for step in (1, -1):
        rows = np.arange(n.size)
        while rows.size:
            lower = j[rows] if step < 0 else j[rows] + 1
            fits = _at_most(lower, n[rows], p[rows]) <= tail
            rows = rows[fits if step > 0 else ~fits]
            j[rows] += step
    return j
