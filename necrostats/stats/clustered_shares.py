"""The difference of two shares whose units come in clusters that may reach into both groups."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import few_clusters, one_cluster, places
from necrostats.stats.intervals import Interval


def share_difference(
    events: ArrayLike, exposed: ArrayLike, cluster: ArrayLike, *, stratum: ArrayLike | None = None, level: float = 0.95
) -> Interval:
    """Share with an event among the exposed minus that among the others, one row a unit (0 or 1 each).

    With `stratum` (a label a row) the difference within strata, weighted by n₁n₀/(n₁+n₀) (Mantel–Haenszel weights);
    strata without both groups say nothing. Error: each unit's influence given the weights, summed by cluster,
    times √(G/(G−1)), t with G − 1 degrees of freedom; limits within −1 and 1. NaN and a note where there is nothing
    to compare. Greenland S, Robins JM. Biometrics 1985;41:55-68 (from memory). StatisticsError for counts that
    cannot be.
    """
    level = checks.confidence_level(level)
    checks.one_length(events=events, exposed=exposed, cluster=cluster, stratum=stratum)
    y, x = (checks.events_of(each, np.ones(np.size(each)))[0] for each in (events, exposed))
    label = np.zeros(y.size, dtype=np.intp) if stratum is None else places(checks.labels("stratum", stratum))
    gap, influence, seen = _weighted(y, x == 1, label)
    if not seen.any():
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=(_nothing(stratum is not None),))
    whose = places(checks.labels("cluster", cluster)[seen])
    groups = int(whose.max()) + 1
    if groups < 2:
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(one_cluster(),))
    summed = np.bincount(whose, weights=influence[seen])
    error = np.sqrt(groups / (groups - 1) * np.sum(summed**2))
    if error == 0:
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(_no_spread(),))
    half = special.stdtrit(groups - 1, (1 + level) / 2) * error
    return Interval(
        estimate=gap, low=float(max(gap - half, -1.0)), high=float(min(gap + half, 1.0)), notes=few_clusters(groups)
    )


def _weighted(y: np.ndarray, exposed: np.ndarray, label: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """The weighted difference, each unit's influence on it, and which units lie in a stratum with both groups."""
    strata = int(label.max(initial=-1)) + 1
    place = label * 2 + exposed
    n = np.bincount(place, minlength=2 * strata).reshape(strata, 2).astype(float)
    k = np.bincount(place, weights=y, minlength=2 * strata).reshape(strata, 2)
    both = (n > 0).all(axis=1)
    safe = np.where(n > 0, n, 1.0)
    share = k / safe
    weight = np.where(both, n[:, 0] * n[:, 1] / safe.sum(axis=1), 0.0)
    total = weight.sum() or 1.0
    gap = float(np.sum(weight * (share[:, 1] - share[:, 0])) / total)
    sign = np.where(exposed, 1.0, -1.0)
    side = exposed.astype(np.intp)
    influence = sign * weight[label] / total * (y - share[label, side]) / safe[label, side]
    return gap, influence, both[label]


def _nothing(stratified: bool) -> Note:
    where = "No stratum holds" if stratified else "There are not"
    return Note(code="NO_OVERLAP", text=f"{where} units of both groups: there is no difference to estimate.")


def _no_spread() -> Note:
    return Note(code="ZERO_EVENTS", text="All units of each group ended alike: the difference has no limits.")
