"""Intervals for a share: independent units, and units that come in clusters.

The limits behind Clopper–Pearson's interval, and behind all that stay inside it.

Pairs of counts that occur again and again, computed once each.

Blaker's exact interval for a share: never longer than Clopper–Pearson's, and always inside it.

A share p is accepted if the smaller tail at k, plus the largest opposite tail no larger than it, exceeds 1 − level.
That sum jumps up whenever the opposite tail takes in one more outcome. Between Clopper–Pearson's limit and the next
jump the opposite tail stands still and the sum crosses 1 − level at most once, so the limit is the one point where
"accepted by growing" or "accepted by the jump" begins: one sign change, nothing to step over.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import (
    Interval,
    as_given,
    empty_denominators,
    few_clusters,
    one_cluster,
    places,
    rising_root,
    sign_changes,
)


def exact_limits(k: np.ndarray, n: np.ndarray, tail: float) -> tuple[np.ndarray, np.ndarray]:
    """Exact binomial limits of k of n with so much in each tail; n need not be whole. Exactly 0 and 1 at the ends."""
    low = np.where(k > 0, special.betaincinv(np.where(k > 0, k, 1.0), n - k + 1, tail), 0.0)
    rest = n - k
    high = np.where(rest > 0, special.betainccinv(k + 1, np.where(rest > 0, rest, 1.0), tail), 1.0)
    return low, high


@dataclass(frozen=True, kw_only=True, eq=False)
class Pairs:
    """The distinct pairs (m,), and for each row of the original shape where its own pair stands."""

    k: np.ndarray
    n: np.ndarray
    place: np.ndarray

    def spread(self, values: np.ndarray) -> np.ndarray:
        """Values of the pairs (m,) laid out as the rows were."""
        return values[self.place]


def distinct_pairs(k: np.ndarray, n: np.ndarray) -> Pairs:
    """The distinct pairs of whole numbers in `k` and `n`, arrays of one shape with k ≤ n."""
    of_k, of_n = (np.unique(each, return_inverse=True)[1].ravel() for each in (k, n))
    _, first, back = np.unique(of_n * (of_k.max(initial=0) + 1) + of_k, return_index=True, return_inverse=True)
    return Pairs(k=k.ravel()[first], n=n.ravel()[first], place=back.reshape(k.shape))


def jeffreys(events: ArrayLike, n: ArrayLike, *, level: float = 0.95) -> Interval:
    """Jeffreys' limits: quantiles of Beta(k + ½, n − k + ½), from 0 at no events and to 1 where all had one.

    Brown LD, Cai TT, DasGupta A. Stat Sci 2001;16:101-133. Where n is 0, NaN and a note.
    """
    k, total = checks.events_of(events, n)
    tail = (1 - checks.confidence_level(level)) / 2
    some = total > 0
    share = np.divide(k, total, out=np.full(k.shape, np.nan), where=some)
    low = np.where(k > 0, special.betaincinv(k + 0.5, total - k + 0.5, tail), 0.0)
    high = np.where(k < total, special.betaincinv(k + 0.5, total - k + 0.5, 1 - tail), 1.0)
    return Interval(
        estimate=as_given(share),
        low=as_given(np.where(some, low, np.nan)),
        high=as_given(np.where(some, high, np.nan)),
        notes=empty_denominators(total),
    )


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


__all__ = ["ClusteredInterval", "blaker", "clopper_pearson", "korn_graubard", "mid_p", "wilson"]


def clopper_pearson(events: ArrayLike, n: ArrayLike, *, level: float = 0.95) -> Interval:
    """Exact binomial limits: `events` of `n`, numbers or arrays that broadcast.

    Limits are exactly 0 and 1 at no events and at all events; where n is 0, NaN and a note.
    Clopper CJ, Pearson ES. Biometrika 1934;26:404-413. Raises StatisticsError for counts that cannot be.
    """
    k, total = checks.events_of(events, n)
    pairs = distinct_pairs(k, total)
    low, high = (pairs.spread(limit) for limit in exact_limits(pairs.k, pairs.n, _tail(level)))
    return _interval(k, total, low, high)


def mid_p(events: ArrayLike, n: ArrayLike, *, level: float = 0.95) -> Interval:
    """Mid-P limits: as Clopper–Pearson, with half the probability of what was seen in each tail.

    Roots are found to 1e-12 or better. Lancaster HO. J Am Stat Assoc 1961;56:223-234.
    """
    k, total = checks.events_of(events, n)
    tail = _tail(level)
    pairs = distinct_pairs(k, total)
    low, high = (pairs.spread(limit) for limit in _mid_p_limits(pairs.k, pairs.n, tail))
    return _interval(k, total, low, high)


def wilson(events: ArrayLike, n: ArrayLike, *, level: float = 0.95) -> Interval:
    """Score limits, exactly 0 at no events and 1 at all. Wilson EB. J Am Stat Assoc 1927;22:209-212."""
    k, total = checks.events_of(events, n)
    z = special.ndtri(1 - _tail(level))
    safe = np.where(total > 0, total, 1.0)
    share = k / safe
    middle = share + z**2 / (2 * safe)
    half = z * np.sqrt(share * (1 - share) / safe + z**2 / (4 * safe**2))
    scale = 1 + z**2 / safe
    low = np.where(k == 0, 0.0, (middle - half) / scale)
    high = np.where(k == total, 1.0, (middle + half) / scale)
    return _interval(k, total, low, high)


@dataclass(frozen=True, kw_only=True, eq=False)
class ClusteredInterval(Interval):
    """A share whose units come in clusters.

    `std_error` allows for clusters; `design_effect` is the variance it implies over the binomial one, never
    taken below 1; `effective_n` is n / design_effect; `adjusted_n` is that times the ratio of t quantiles, the
    n behind the limits. The first two are NaN where clustering cannot be estimated.
    """

    clusters: int
    std_error: float
    design_effect: float
    effective_n: float
    adjusted_n: float


def korn_graubard(events: ArrayLike, n: ArrayLike, cluster: ArrayLike, *, level: float = 0.95) -> ClusteredInterval:
    """Clopper–Pearson on the effective sample size, for a share of units that come in clusters.

    One row a unit or a group of units: `events` of `n` (1 where a row is a unit), and the label of its cluster.
    Variance of the ratio: G/(G−1) Σ(y − r m)² / M² over clusters; degrees of freedom by the t ratio.
    Korn EL, Graubard BI. Survey Methodology 1998;24:193-201. Raises StatisticsError for counts that cannot be.
    """
    k, total, label = checks.broadcast(
        events=np.atleast_1d(checks.counts("events", events)),
        n=np.atleast_1d(checks.counts("n", n)),
        cluster=np.atleast_1d(checks.labels("cluster", cluster)),
    )
    checks.one_length(events=k, n=total, cluster=label)
    k, total = checks.events_of(k, total)
    y, m = _by_cluster(k, total, label)
    if not m.size:
        return _unclustered(0.0, 0.0, 0, level, empty_denominators(np.array(0.0)))
    if y.sum() in (0, m.sum()):
        return _unclustered(y.sum(), m.sum(), m.size, level, (_no_contrast(y.sum(), m.sum()),))
    if m.size < 2:
        return _unclustered(y.sum(), m.sum(), m.size, level, (one_cluster(),))
    return _effective(y, m, level)


def _effective(y: np.ndarray, m: np.ndarray, level: float) -> ClusteredInterval:
    tail, total, groups = _tail(level), m.sum(), m.size
    share = y.sum() / total
    variance = groups / (groups - 1) * np.sum((y - share * m) ** 2) / total**2
    effect = max(1.0, variance / (share * (1 - share) / total))
    t_ratio = stats.t.ppf(1 - tail, total - 1) / stats.t.ppf(1 - tail, groups - 1)
    adjusted = total / effect * t_ratio**2
    low, high = exact_limits(np.array(share * adjusted), np.array(adjusted), tail)
    return ClusteredInterval(
        estimate=float(share),
        low=float(low),
        high=float(high),
        clusters=groups,
        notes=few_clusters(groups),
        std_error=float(np.sqrt(variance)),
        design_effect=float(effect),
        effective_n=float(total / effect),
        adjusted_n=float(adjusted),
    )


def _unclustered(k: float, n: float, groups: int, level: float, notes: tuple[Note, ...]) -> ClusteredInterval:
    plain = clopper_pearson(k, n, level=level)
    return ClusteredInterval(
        estimate=plain.estimate,
        low=plain.low,
        high=plain.high,
        notes=notes,
        clusters=groups,
        std_error=np.nan,
        design_effect=np.nan,
        effective_n=float(n),
        adjusted_n=float(n),
    )


def _by_cluster(k: np.ndarray, total: np.ndarray, label: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    place = places(label)
    y, m = np.bincount(place, weights=k), np.bincount(place, weights=total)
    return y[m > 0], m[m > 0]


def _no_contrast(k: float, n: float) -> Note:
    seen = f"No events in {n:,.0f}" if k == 0 else f"Events in all {n:,.0f}"
    return Note(code="ZERO_EVENTS", text=f"{seen}: whether events cluster cannot be estimated; limits are plain exact.")


def _tail(level: float) -> float:
    return (1 - checks.confidence_level(level)) / 2


def _interval(k: np.ndarray, n: np.ndarray, low: np.ndarray, high: np.ndarray) -> Interval:
    some = n > 0
    share = np.divide(k, n, out=np.full(k.shape, np.nan), where=some)
    low, high = np.where(some, low, np.nan), np.where(some, high, np.nan)
    return Interval(estimate=as_given(share), low=as_given(low), high=as_given(high), notes=empty_denominators(n))


def _mid_p_limits(k: np.ndarray, n: np.ndarray, tail: float) -> tuple[np.ndarray, np.ndarray]:
    """Where the mid-probability of k or more, ½P(X ≥ k) + ½P(X > k), is `tail`, and where it is 1 − `tail`."""
    low, high = np.zeros(k.shape), np.ones(k.shape)
    none_of_n, all_of_n = (k == 0) & (n > 0), (k == n) & (n > 0)
    high[none_of_n] = -np.expm1(np.log(2 * tail) / n[none_of_n])
    low[all_of_n] = (2 * tail) ** (1 / n[all_of_n])
    inner = (k > 0) & (k < n)
    low[inner] = _mid_p_root(k[inner], n[inner], tail)
    high[inner] = _mid_p_root(k[inner], n[inner], 1 - tail)
    return low, high


def _mid_p_root(k: np.ndarray, n: np.ndarray, target: float) -> np.ndarray:
    """The p at which the mid-probability is `target`: between those of P(X ≥ k) and P(X ≥ k + 1)."""

    def excess(p: np.ndarray) -> np.ndarray:
        return (special.betainc(k, n - k + 1, p) + special.betainc(k + 1, n - k, p)) / 2 - target

    left, right = special.betaincinv(k, n - k + 1, target), special.betaincinv(k + 1, n - k, target)
    return rising_root(excess, _slope(k, n), left, right)


def _slope(k: np.ndarray, n: np.ndarray) -> Callable[[np.ndarray], np.ndarray]:
    """Derivative of both tails by p: half the sum of the densities beta(k, n − k + 1) and beta(k + 1, n − k)."""
    log_beta = special.betaln(k, n - k + 1)

    def slope(p: np.ndarray) -> np.ndarray:
        shared = np.exp((k - 1) * np.log(p) + (n - k - 1) * np.log1p(-p) - log_beta)
        return shared * (1 - p + p * (n - k) / k) / 2

    return slope
