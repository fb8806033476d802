"""Ratios of two odds."""

from __future__ import annotations

import numpy as np
from scipy import special
from scipy.stats import contingency

from necrostats.errors import unknown_choice
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, TwoGroups, counted, nothing_to_compare, one_table

METHODS = {
    "conditional": "conditional maximum likelihood with exact limits",
    "woolf": "cross-product ratio with Woolf's Wald interval on its log",
}


def odds_ratio(
    events: float, n: float, events_ref: float, n_ref: float, *, level: float = 0.95, method: str = "conditional"
) -> Contrast:
    """The odds ratio of one group against its reference, with its limits.

    `method` "conditional": Cornfield's exact limits given all margins, as R's fisher.test. "woolf": ad/bc with
    exp(log ± z √(1/a + 1/b + 1/c + 1/d)), Woolf B, Ann Hum Genet 1955;19:251-253. **Zero cells:** the conditional
    ratio is then 0 or infinite with one exact limit; Woolf's interval does not exist (NaN and a note), and ½ is never
    added. With nobody or everybody affected in both groups both are NaN.
    """
    if method not in METHODS:
        raise unknown_choice("method for an odds ratio", method, METHODS)
    checks.confidence_level(level)
    groups = one_table(events, n, events_ref, n_ref)
    if groups.empty or groups.no_contrast:
        return _contrast(np.full(3, np.nan), method, nothing_to_compare(groups))
    return _conditional(groups, level) if method == "conditional" else _woolf(groups, level)


def _conditional(groups: TwoGroups, level: float) -> Contrast:
    result = contingency.odds_ratio(groups.cells(), kind="conditional")
    limits = result.confidence_interval(level)
    zero = (groups.cells() == 0).any()
    so = "the odds ratio is 0 or unlimited on that side"
    values = np.array([result.statistic, limits.low, limits.high])
    return _contrast(values, "conditional", counted(zero, "ZERO_EVENTS", "A cell of the table is 0", so))


def _woolf(groups: TwoGroups, level: float) -> Contrast:
    (a, b), (c, d) = groups.cells().astype(float)
    ratio = a * d / (b * c) if b * c else np.inf
    if not a * b * c * d:
        so = 'Woolf\'s interval does not exist, and ½ is not added; use method "conditional"'
        notes = counted(np.array(True), "ZERO_EVENTS", "A cell of the table is 0", so)
        return _contrast(np.array([ratio, np.nan, np.nan]), "woolf", notes)
    half = special.ndtri((1 + level) / 2) * np.sqrt(1 / a + 1 / b + 1 / c + 1 / d)
    return _contrast(ratio * np.exp([0, -half, half]), "woolf", ())


def _contrast(values: np.ndarray, method: str, notes: tuple) -> Contrast:
    estimate, low, high = map(float, values)
    return Contrast(
        estimate=estimate, low=low, high=high, measure="odds ratio", method=METHODS[method], notes=notes
    )
