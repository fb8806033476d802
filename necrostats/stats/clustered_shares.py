"""The difference of two shares whose units come in clusters that may reach into both groups."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import few_clusters, one_cluster, places
from necrostats.stats.event_tables import over
from necrostats.stats.intervals import Interval

ROUNDING = 1e-12


def share_difference(
    events: ArrayLike, exposed: ArrayLike, cluster: ArrayLike, *, stratum: ArrayLike | None = None, level: float = 0.95
) -> Interval:
    """Share with an event among the exposed minus that among the others, one row a unit (0 or 1 each).

    With `stratum` (a label a row) the difference within strata with weights n₁n₀/(n₁+n₀) (Mantel–Haenszel), as in a
    linear model with an effect for each stratum; strata without both groups say nothing. Sandwich error by cluster
    with the factor G/(G−1) · (N−1)/(N−strata−1), t with G − 1 degrees of freedom; limits within −1 and 1. NaN and a
    note where there is nothing to compare. Liang KY, Zeger SL. Biometrika 1986;73:13-22 (from memory).
    Raises StatisticsError for anything but 0 and 1.
    """
    level = checks.confidence_level(level)
    checks.one_length(events=events, exposed=exposed, cluster=cluster, stratum=stratum)
    y, x = (checks.events_of(each, np.ones(np.size(each)))[0] for each in (events, exposed))
    label = np.zeros(y.size, dtype=np.intp) if stratum is None else places(checks.labels("stratum", stratum))
    telling = _with_both(x, label)
    if not telling.any():
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=(_nothing(stratum is not None),))
    whose = places(checks.labels("cluster", cluster)[telling])
    return _difference(y[telling], x[telling], places(label[telling]), whose, level)


def _with_both(x: np.ndarray, label: np.ndarray) -> np.ndarray:
    """Which units lie in a stratum that holds exposed and others."""
    exposed = np.bincount(label, weights=x)
    others = np.bincount(label, weights=1 - x)
    return ((exposed > 0) & (others > 0))[label]


def _difference(y: np.ndarray, x: np.ndarray, label: np.ndarray, whose: np.ndarray, level: float) -> Interval:
    centred_y, centred_x = (each - _means(each, label)[label] for each in (y, x))
    spread = np.sum(centred_x**2)
    gap = float(np.sum(centred_x * y) / spread)
    clusters, strata = int(whose.max()) + 1, int(label.max()) + 1
    freedom = y.size - strata - 1
    if clusters < 2:
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(one_cluster(),))
    summed = np.bincount(whose, weights=centred_x * (centred_y - gap * centred_x)) / spread
    factor = clusters / (clusters - 1) * (y.size - 1) / max(freedom, 1)
    error = np.sqrt(factor * np.sum(summed**2))
    if freedom < 1 or error < ROUNDING:
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(_no_spread(),))
    half = special.stdtrit(clusters - 1, (1 + level) / 2) * error
    return Interval(
        estimate=gap, low=float(max(gap - half, -1.0)), high=float(min(gap + half, 1.0)), notes=few_clusters(clusters)
    )


def _means(values: np.ndarray, label: np.ndarray) -> np.ndarray:
    return over(np.bincount(label, weights=values), np.bincount(label))


def _nothing(stratified: bool) -> Note:
    where = "No stratum holds" if stratified else "There are not"
    return Note(code="NO_OVERLAP", text=f"{where} units of both groups: there is no difference to estimate.")


def _no_spread() -> Note:
    text = "Units of one group and stratum all ended alike: the difference has no limits."
    return Note(code="ZERO_EVENTS", text=text)
