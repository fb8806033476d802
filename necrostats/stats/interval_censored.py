"""The geometric mean of positive amounts, some of them known only as a range, with errors by cluster."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import few_clusters, one_cluster, places
from necrostats.stats.intervals import Interval
from necrostats.stats.lognormal import LogAmounts, Peak, log_amounts, peak, terms


@dataclass(frozen=True, kw_only=True, eq=False)
class GeometricMean(Interval):
    """A geometric mean with limits; `log_sigma` is the log of the standard deviation of log amounts, `n` how many
    amounts said anything, `clusters` how many clusters they came from."""

    log_sigma: float
    n: int
    clusters: int


def lognormal_mean(
    low: ArrayLike, high: ArrayLike, cluster: ArrayLike, *, level: float = 0.95
) -> GeometricMean:
    """Geometric mean of log-normal amounts (n,), each between `low` and `high`, by maximum likelihood.

    Exact where low equals high; "less than" where low is 0; "more than" where high is infinite or NaN; both at once
    says nothing and is left out with a note. `cluster`: a label a row. Limits use the sandwich by cluster with
    G/(G−1) and t(G−1) on the log scale; with exact amounts only, this is the plain geometric mean with its CR1 error.

    Where the likelihood has no single peak, or clusters are fewer than two, NaN and a note.
    Raises StatisticsError for amounts below 0, ranges from high to low, and exact zeros (which have no logarithm).
    """
    level = checks.confidence_level(level)
    bottom, top, label = _checked(low, high, cluster)
    says = (bottom > 0) | np.isfinite(top)
    rows, whose = log_amounts(bottom[says], top[says]), places(label[says])
    clusters = int(whose.max(initial=-1)) + 1
    best = peak(rows)
    error = _clustered_error(rows, best, whose, clusters) if best.note is None else np.nan
    half = stats.t.ppf((1 + level) / 2, max(clusters - 1, 1)) * error
    return GeometricMean(
        estimate=float(np.exp(best.mu)), low=float(np.exp(best.mu - half)), high=float(np.exp(best.mu + half)),
        log_sigma=best.log_sigma, n=rows.size, clusters=clusters,
        notes=_silent(says) + _why(best, error, clusters),
    )  # fmt: skip


def _checked(low: ArrayLike, high: ArrayLike, cluster: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    checks.one_length(low=low, high=high, cluster=cluster)
    bottom, label = checks.not_negative("low", low), checks.labels("cluster", cluster)
    top = checks.numbers("high", high)
    top = np.where(np.isnan(top), np.inf, top)
    checks.refuse("high", top, top < bottom, "is less than its low.")
    checks.refuse("high", top, top == 0, "is an amount of 0, which has no logarithm. Count zeros by themselves.")
    return bottom, top, label


def _clustered_error(rows: LogAmounts, best: Peak, whose: np.ndarray, clusters: int) -> float:
    """Sandwich error of mu, scores summed by cluster, times G/(G−1); NaN if clusters do not vary at all."""
    if clusters < 2:
        return np.nan
    each = terms(rows, best.mu, best.log_sigma)
    summed = np.stack([np.bincount(whose, weights=score) for score in each.score.T], axis=1)
    influence = np.linalg.solve(-each.hessian.sum(axis=0), summed.T)[0]
    error = float(np.sqrt(clusters / (clusters - 1) * np.sum(influence**2)))
    return error if error > 1e-10 * np.exp(best.log_sigma) else np.nan


def _silent(says: np.ndarray) -> tuple[Note, ...]:
    left_out = int(np.count_nonzero(~says))
    text = f"{left_out} of {says.size} amounts lie anywhere above 0 and are left out."
    return (Note(code="MISSING", text=text),) if left_out else ()


def _why(best: Peak, error: float, clusters: int) -> tuple[Note, ...]:
    if best.note is not None:
        return (best.note,)
    if clusters < 2:
        return (one_cluster(),)
    if np.isnan(error):
        text = "Clusters do not differ at all, so no limits can be made from how they vary."
        return (Note(code="SINGULAR", text=text),)
    return few_clusters(clusters)
