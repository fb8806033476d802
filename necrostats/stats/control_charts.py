"""Is a count beyond what a steady process gives? Limits for control charts, exact and by three standard errors.

Exact limits keep the chance of a false alarm small at any size; three standard errors do not where events are few.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats import checks

ACTION, WARNING = 0.00135, 0.025
LONGEST_RUN, FEWEST_CROSSINGS = 0.05, 0.05


@dataclass(frozen=True, kw_only=True, eq=False)
class ChartLimits:
    """`centre`, and limits for each point (m,): a signal is a value above `high` or below `low`.

    Of exact limits `low` and `high` are counts; `low` is 0 where no count is few enough to be a signal.
    """

    centre: float
    low: np.ndarray
    high: np.ndarray

    def signals(self, values: ArrayLike) -> np.ndarray:
        """Which values (m,) are a signal."""
        given = checks.finite("values", values)
        return (given > self.high) | (given < self.low)


def share_chart(share: float, n: ArrayLike, *, tail: float = ACTION) -> ChartLimits:
    """Exact limits of the events of `n` (m,) where each has one with probability `share` (p chart).

    They are the quantiles of the binomial at `tail` and 1 − `tail`, so that no tail beyond them holds more than that.
    """
    p, size, tail = _share(share), checks.counts("n", checks.listed("n", n)), checks.probability("tail", tail)
    seen = stats.binom(size.astype(int), p)
    return ChartLimits(centre=p, low=seen.ppf(tail).clip(0), high=seen.ppf(1 - tail))


def rate_chart(rate: float, exposure: ArrayLike, *, tail: float = ACTION) -> ChartLimits:
    """Exact limits of the events in `exposure` (m,) where they come at `rate` (u chart; c chart with exposure 1)."""
    centre, time = (
        float(checks.not_negative("rate", rate)),
        checks.not_negative("exposure", checks.listed("exposure", exposure)),
    )
    tail = checks.probability("tail", tail)
    seen = stats.poisson(centre * time)
    return ChartLimits(centre=centre, low=seen.ppf(tail).clip(0), high=seen.ppf(1 - tail).clip(0))


def three_sigma_share(share: float, n: ArrayLike) -> ChartLimits:
    """Shewhart's limits of a share: three standard errors either side, within 0 to 1. For what is in print.

    Montgomery DC. Introduction to Statistical Quality Control, chapter on attributes.
    """
    p, size = _share(share), checks.counts("n", checks.listed("n", n))
    half = 3 * np.sqrt(np.divide(p * (1 - p), size, out=np.full(size.shape, np.nan), where=size > 0))
    return ChartLimits(centre=p, low=np.maximum(p - half, 0), high=np.minimum(p + half, 1))


def three_sigma_rate(rate: float, exposure: ArrayLike) -> ChartLimits:
    """Shewhart's limits of a rate: three standard errors either side, not below 0. For what is in print."""
    centre, time = (
        float(checks.not_negative("rate", rate)),
        checks.not_negative("exposure", checks.listed("exposure", exposure)),
    )
    half = 3 * np.sqrt(np.divide(centre, time, out=np.full(time.shape, np.nan), where=time > 0))
    return ChartLimits(centre=centre, low=np.maximum(centre - half, 0), high=centre + half)


def gap_chart(share: float, *, tail: float = ACTION) -> ChartLimits:
    """Limits of the number of units without an event between two events (g chart): geometric quantiles.

    Benneyan JC. Health Care Manag Sci 2001;4:305-318.
    """
    p, tail = checks.probability("share", share), checks.probability("tail", tail)
    low, high = (stats.geom.ppf(each, p) - 1 for each in (tail, 1 - tail))
    return ChartLimits(centre=(1 - p) / p, low=np.array([max(low, 0.0)]), high=np.array([high]))


def time_chart(rate: float, *, tail: float = ACTION) -> ChartLimits:
    """Limits of the time between two events that come at `rate` (t chart): exponential quantiles."""
    each, tail = checks.positive("rate", rate), checks.probability("tail", tail)
    return ChartLimits(centre=1 / each, low=np.array([-np.log1p(-tail) / each]), high=np.array([-np.log(tail) / each]))


@dataclass(frozen=True, kw_only=True, eq=False)
class PredictiveBand:
    """The least and most events (m,) that are still compatible with the baseline, with its `level`."""

    low: np.ndarray
    high: np.ndarray
    level: float


def predicted_events(events: int, n: int, new_n: ArrayLike, *, level: float = 0.95) -> PredictiveBand:
    """Events of `new_n` (m,) if nothing changed since `events` of `n`, the baseline's own uncertainty carried along.

    Beta-binomial with Jeffreys' prior: the central band, each tail holding at most half of 1 − `level`. Baseline 6 of
    41, 9 new: 0 to 4.
    """
    k, total = checks.events_of(events, n)
    size, tail = (
        checks.counts("new_n", checks.listed("new_n", new_n)).astype(int),
        (1 - checks.confidence_level(level)) / 2,
    )
    seen = stats.betabinom(size, float(k) + 0.5, float(total - k) + 0.5)
    return PredictiveBand(low=seen.ppf(tail).clip(0), high=seen.ppf(1 - tail).clip(0), level=level)


def predicted_by_rate(events: int, exposure: float, new_exposure: ArrayLike, *, level: float = 0.95) -> PredictiveBand:
    """Events in `new_exposure` (m,) if nothing changed since `events` in `exposure`: gamma-Poisson, Jeffreys' prior."""
    k, time = checks.counts("events", events), checks.positive("exposure", exposure)
    new, tail = (
        checks.not_negative("new_exposure", checks.listed("new_exposure", new_exposure)),
        (1 - checks.confidence_level(level)) / 2,
    )
    seen = stats.nbinom(float(k) + 0.5, time / (time + new))
    return PredictiveBand(low=seen.ppf(tail).clip(0), high=seen.ppf(1 - tail).clip(0), level=level)


@dataclass(frozen=True, kw_only=True)
class RunChart:
    """`useful` points off the median, the `longest` run on one side of it and the `crossings`, with what is expected at
    most and at least of a steady process; `signal` where either is passed."""

    useful: int
    longest: int
    longest_expected: int
    crossings: int
    fewest_expected: int

    @property
    def signal(self) -> bool:
        """Whether the longest run is too long or the crossings are too few."""
        return self.longest > self.longest_expected or self.crossings < self.fewest_expected


def run_chart(values: ArrayLike, *, median: float | None = None) -> RunChart:
    """The longest run and the crossings of the median (that of the values, or a stated one), without points on it.

    Limits: longest round(log2 n) + 3; fewest crossings the 5 % quantile of the binomial of n − 1 at one half. Anhøj J,
    Olesen AV. PLoS One 2014;9:e113825 (24 points: longer than 8, fewer than 8).
    """
    given = checks.finite("values", values).ravel()
    middle = np.median(given) if median is None and given.size else median
    side = np.sign(given - middle)[given != middle] if given.size else np.zeros(0)
    turns = np.flatnonzero(np.diff(side) != 0)
    runs = np.diff(np.concatenate([[-1], turns, [side.size - 1]])) if side.size else np.zeros(1)
    n = int(side.size)
    return RunChart(
        useful=n,
        longest=int(runs.max(initial=0)),
        longest_expected=round(float(np.log2(n))) + 3 if n else 0,
        crossings=int(turns.size),
        fewest_expected=int(stats.binom.ppf(FEWEST_CROSSINGS, n - 1, 0.5)) if n > 1 else 0,
    )


def _share(value: float) -> float:
    share = checks.finite("share", value)
    if share.ndim or not 0 <= share <= 1:
        raise StatisticsError(f"share is {value}: it must be one number from 0 to 1.")
    return float(share)


@dataclass(frozen=True, kw_only=True, eq=False)
class Cusum:
    """The weight of each point and the running sum (m,), which is a signal where it reaches `threshold`."""

    weight: np.ndarray
    total: np.ndarray
    threshold: float

    @property
    def signals(self) -> np.ndarray:
        """Which points (m,) are a signal."""
        return self.total >= self.threshold


def share_cusum(
    events: ArrayLike, n: ArrayLike, share: float, *, odds_ratio: float = 2.0, threshold: float = np.inf
) -> Cusum:
    """Sums of the log-likelihood ratio of odds `odds_ratio` times those of `share`, never below 0, without restarts.

    Steiner SH et al. Biostatistics 2000;1:441-452. `threshold`: see `cusum_threshold`.
    """
    k, size = checks.events_of(checks.listed("events", events), checks.listed("n", n))
    p, ratio = checks.probability("share", share), checks.positive("odds_ratio", odds_ratio)
    raised = ratio * p / (1 - p + ratio * p)
    return _summed(k * np.log(raised / p) + (size - k) * np.log((1 - raised) / (1 - p)), threshold)


def rate_cusum(events: ArrayLike, expected: ArrayLike, *, rate_ratio: float = 2.0, threshold: float = np.inf) -> Cusum:
    """The same of counts with so many `expected` (m,), against `rate_ratio` times as many."""
    k, mean = (
        checks.counts("events", checks.listed("events", events)),
        checks.not_negative("expected", checks.listed("expected", expected)),
    )
    checks.one_length(events=k, expected=mean)
    ratio = checks.positive("rate_ratio", rate_ratio)
    return _summed(k * np.log(ratio) - (ratio - 1) * mean, threshold)


def _summed(weight: np.ndarray, threshold: float) -> Cusum:
    total, last = np.empty(weight.size), 0.0
    for place, each in enumerate(weight.tolist()):
        last = max(0.0, last + each)
        total[place] = last
    return Cusum(weight=weight, total=total, threshold=float(threshold))


def cusum_threshold(
    n: int, share: float, *, odds_ratio: float = 2.0, run_length: float = 370, random: int = 1, replicates: int = 400
) -> float:
    """The threshold at which a steady process of `n` a point runs `run_length` points on average before a false alarm.

    By simulation from a stated seed, bisected: the run length is known to about 5 %, the standard error of 400 runs.
    """
    generator, p = checks.seed(random), checks.probability("share", share)
    ratio = checks.positive("odds_ratio", odds_ratio)
    raised, longest = ratio * p / (1 - p + ratio * p), int(_LONGEST * checks.positive("run_length", run_length))
    events = generator.binomial(int(n), p, size=(longest, replicates))
    weight = events * np.log(raised / p) + (int(n) - events) * np.log((1 - raised) / (1 - p))
    highest = _highest_so_far(weight)
    low, high = 0.1, 20.0
    while high - low > 0.01:
        middle = (low + high) / 2
        shorter = np.minimum((highest < middle).sum(axis=0) + 1, longest).mean() < run_length
        low, high = (middle, high) if shorter else (low, middle)
    return round((low + high) / 2, 2)


_LONGEST = 10
"""Run lengths are all but exponential, so that one in 22,000 is longer than so many times their mean."""


def _highest_so_far(weight: np.ndarray) -> np.ndarray:
    """The highest sum up to each point, of weights (points, replicates)."""
    total, highest = np.zeros(weight.shape[1]), np.empty(weight.shape)
    for place, each in enumerate(weight):
        np.maximum(total + each, 0, out=total)
        highest[place] = total
    return np.maximum.accumulate(highest, axis=0)


def false_alarm_rate(share: float, n: int, *, tail: float = ACTION) -> float:
    """The chance, by enumeration, that a steady process of `share` gives a signal among `n` on the exact chart."""
    limits = share_chart(share, n, tail=tail)
    seen = stats.binom(int(n), _share(share))
    return float(seen.sf(limits.high[0]) + (seen.cdf(limits.low[0] - 1) if limits.low[0] > 0 else 0.0))


def funnel_limits(share: float, n: ArrayLike, *, tail: float = WARNING) -> ChartLimits:
    """Exact limits of the share of `n` (m,) that a stated share allows, for a funnel: interpolated between counts.

    Spiegelhalter DJ. Stat Med 2005;24:1185-1202, appendix A.1.1.
    """
    p, size = _share(share), checks.counts("n", checks.listed("n", n)).astype(int)
    tail = checks.probability("tail", tail)
    low, high = (_interpolated(p, size, each) for each in (tail, 1 - tail))
    return ChartLimits(centre=p, low=low, high=high)


def _interpolated(p: float, n: np.ndarray, at: float) -> np.ndarray:
    count = stats.binom.ppf(at, n, p)
    above, own = stats.binom.cdf(count, n, p) - at, stats.binom.pmf(count, n, p)
    share = (count - np.divide(above, own, out=np.zeros(n.shape), where=own > 0)) / np.maximum(n, 1)
    return np.where(n > 0, np.clip(share, 0, 1), np.nan)
