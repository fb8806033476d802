"""Samples of a measurement: a mean and the difference of two with t limits, and two samples by their ranks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import Interval

FEW = 20
ROUNDING = 1e-12


def mean(values: ArrayLike, *, level: float = 0.95) -> Interval:
    """Arithmetic mean with Student's limits, n − 1 degrees of freedom. NaN and a note where they cannot be given.

    Of fewer than 20 values a note: where they are skewed, as counts are, limits hold the truth too seldom
    (tests/simulations).
    """
    given, level = checks.finite("values", values).ravel(), checks.confidence_level(level)
    if given.size < 2 or _flat(given):
        middle = float(given.mean()) if given.size else np.nan
        return Interval(estimate=middle, low=np.nan, high=np.nan, notes=(_too_few(given.size),))
    middle, error = float(given.mean()), given.std(ddof=1) / np.sqrt(given.size)
    half = special.stdtrit(given.size - 1, (1 + level) / 2) * error
    return Interval(estimate=middle, low=float(middle - half), high=float(middle + half), notes=_few(given.size))


def mean_difference(values: ArrayLike, reference: ArrayLike, *, level: float = 0.95) -> Interval:
    """Mean of `values` minus that of `reference`, variances not taken as equal.

    Welch BL. Biometrika 1947;34:28-35, with Satterthwaite's degrees of freedom. NaN and a note as for `mean`.
    """
    one, two = (checks.finite(name, each).ravel() for name, each in (("values", values), ("reference", reference)))
    level = checks.confidence_level(level)
    if not one.size or not two.size:
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=(_too_few(0),))
    gap = float(one.mean() - two.mean())
    if min(one.size, two.size) < 2 or (_flat(one) and _flat(two)):
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(_too_few(min(one.size, two.size)),))
    parts = np.array([one.var(ddof=1) / one.size, two.var(ddof=1) / two.size])
    freedom = parts.sum() ** 2 / np.sum(parts**2 / np.array([one.size - 1, two.size - 1]))
    half = special.stdtrit(freedom, (1 + level) / 2) * np.sqrt(parts.sum())
    return Interval(estimate=gap, low=float(gap - half), high=float(gap + half))


def _flat(values: np.ndarray) -> bool:
    """Whether all values are the same but for rounding."""
    return bool(np.ptp(values) <= ROUNDING * np.abs(values).max())


def _few(n: int) -> tuple[Note, ...]:
    if n >= FEW:
        return ()
    text = f"Only {n} values: with fewer than {FEW}, limits of a mean of skewed values hold the truth too seldom."
    return (Note(code="SMALL_N", text=text),)


def _too_few(n: int) -> Note:
    why = f"only {n} in a group" if n < 2 else "all values are the same"
    return Note(code="SMALL_N", text=f"No limits for a mean: {why}.")


METHODS = ("exact", "normal")
EXACT_BELOW = 50
MOST_PAIRS = 25_000_000


@dataclass(frozen=True, kw_only=True, eq=False)
class RankSum:
    """`statistic` counts pairs in which the first sample is higher (ties half); `shift` is Hodges and Lehmann's median
    of all differences, with limits that invert the test. `method` says how p and limits were made."""

    statistic: float
    p_value: float
    shift: float
    low: float
    high: float
    method: str
    notes: tuple[Note, ...] = ()


def rank_sum(
    values: ArrayLike, reference: ArrayLike, *, method: str | None = None, continuity: bool = True, level: float = 0.95
) -> RankSum:
    """Wilcoxon's rank-sum test of two independent samples, two-sided, with the Hodges–Lehmann shift.

    `method` "exact" or "normal" (with a correction for ties and, unless `continuity` is False, of ½); by default, as
    R's wilcox.test, exact where both samples have fewer than 50 values and none are tied. The limits are the
    differences at which the same test turns, so that they are attained; R's search gives four decimals. An empty
    sample, or all values the same: NaN and a note. Hodges JL, Lehmann EL. Ann Math Stat 1963;34:598-611; Bauer DF. J Am
    Stat Assoc 1972;67:687-690.
    """
    x, y = (checks.finite(name, each).ravel() for name, each in (("values", values), ("reference", reference)))
    level = checks.confidence_level(level)
    if method is not None and method not in METHODS:
        raise unknown_choice("method for a rank-sum test", method, METHODS)
    if not x.size or not y.size or np.ptp(np.concatenate([x, y])) == 0:
        why = "A sample is empty." if not x.size or not y.size else "All values are the same."
        return _nothing(f"{why} There is nothing to test.")
    tied = np.unique(np.concatenate([x, y])).size < x.size + y.size
    exact = method == "exact" or (method is None and not tied and max(x.size, y.size) < EXACT_BELOW)
    if exact and tied:
        return _nothing('Tied values have no exact distribution here: ask for method "normal".')
    if x.size * y.size > MOST_PAIRS:
        return _nothing("There are too many pairs of values for the shift between the samples to be found.")
    ranks = stats.rankdata(np.concatenate([x, y]))
    statistic = float(ranks[: x.size].sum() - x.size * (x.size + 1) / 2)
    differences = np.sort((x[:, None] - y[None, :]).ravel())
    if exact:
        p_value, low, high = _exact(statistic, x.size, y.size, differences, 1 - level)
    else:
        p_value = _normal_p(x, y, continuity)
        low, high = _normal_limits(x, y, differences, special.ndtri((1 + level) / 2), continuity)
    return RankSum(
        statistic=statistic,
        p_value=p_value,
        shift=float(np.median(differences)),
        low=low,
        high=high,
        method="exact" if exact else f"normal, corrected for ties{' and continuity' if continuity else ''}",
    )


def _shares(m: int, n: int) -> np.ndarray:
    """The share of all orders of two samples that has each statistic, 0 to mn: Π (1 − qⁿ⁺ⁱ) / (1 − qⁱ), i = 1 … m."""
    ways = np.zeros(m * n + 1)
    ways[0] = 1.0
    for place in range(1, m + 1):
        more = ways.copy()
        more[n + place :] -= ways[: max(ways.size - n - place, 0)]
        for first in range(min(place, ways.size)):
            more[first::place] = np.cumsum(more[first::place])
        ways = more
    return np.maximum(ways, 0) / ways.sum()


def _exact(statistic: float, m: int, n: int, differences: np.ndarray, alpha: float) -> tuple[float, float, float]:
    below = np.cumsum(_shares(m, n))
    whole = round(statistic)
    tail = below[whole] if whole <= m * n / 2 else 1 - (below[whole - 1] if whole else 0.0)
    skipped = int(np.searchsorted(below, alpha / 2, side="left"))
    if skipped == 0:
        return float(min(1, 2 * tail)), -np.inf, np.inf
    return float(min(1, 2 * tail)), float(differences[skipped - 1]), float(differences[m * n - skipped])


def _standardised(x: np.ndarray, y: np.ndarray, shift: float, correction: float) -> float:
    both = np.concatenate([x - shift, y])
    ranks = stats.rankdata(both)
    m, n = x.size, y.size
    distance = ranks[:m].sum() - m * (m + 1) / 2 - m * n / 2
    _, tied = np.unique(both, return_counts=True)
    total = m + n
    variance = m * n / 12 * ((total + 1) - np.sum(tied**3 - tied) / (total * (total - 1)))
    return (distance - correction) / np.sqrt(variance) if variance > 0 else np.nan


def _normal_p(x: np.ndarray, y: np.ndarray, continuity: bool) -> float:
    plain = _standardised(x, y, 0.0, 0.0)
    z = _standardised(x, y, 0.0, np.sign(plain) / 2 if continuity else 0.0)
    return float(min(1, 2 * special.ndtr(-abs(z)))) if np.sign(z) == np.sign(plain) else 1.0


def _normal_limits(
    x: np.ndarray, y: np.ndarray, differences: np.ndarray, z: float, continuity: bool
) -> tuple[float, float]:
    """The differences at which the standardised statistic passes z and −z; unlimited where it never does."""
    steps = np.unique(differences)
    between = np.concatenate([[steps[0] - 1], (steps[:-1] + steps[1:]) / 2, [steps[-1] + 1]])
    half = 0.5 if continuity else 0.0
    low = _first(between, lambda at: _standardised(x, y, at, half) <= z)
    high = _first(between, lambda at: _standardised(x, y, at, -half) <= -z)
    ends = np.concatenate([[-np.inf], steps, [np.inf]])
    return float(ends[low]), float(ends[high])


def _first(between: np.ndarray, holds: Callable[[float], bool]) -> int:
    """The first place from which a condition holds that then stays true, by bisection; beyond the end if none."""
    low, high = 0, between.size
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if holds(between[middle]) else (middle + 1, high)
    return low


def _nothing(text: str) -> RankSum:
    none = np.nan
    note = Note(code="SMALL_N", text=text)
    return RankSum(statistic=none, p_value=none, shift=none, low=none, high=none, method="none", notes=(note,))
