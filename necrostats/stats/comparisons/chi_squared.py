"""χ² tests of two shares, with and without continuity correction: never without saying which."""

from __future__ import annotations

import numpy as np
from scipy import stats

from necrostats.stats.comparisons.common import Test, TwoGroups, nothing_to_compare, one_table

UNCORRECTED = "uncorrected χ² test"
YATES = "χ² test with Yates' correction"


def chi_squared(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """Pearson's χ² on one degree of freedom, no continuity correction. Pearson K. Phil Mag 1900;50:157-175."""
    return _test(UNCORRECTED, one_table(events, n, events_ref, n_ref), 0.0)


def yates(events: float, n: float, events_ref: float, n_ref: float) -> Test:
    """χ² with Yates' correction, for checking what is in print. Suppl J R Stat Soc 1934;1:217-235."""
    return _test(YATES, one_table(events, n, events_ref, n_ref), 0.5)


def _test(name: str, groups: TwoGroups, correction: float) -> Test:
    if groups.empty or groups.no_contrast:
        return Test(p_value=np.nan, test=name, notes=nothing_to_compare(groups))
    expected = expected_counts(groups)
    distance = np.abs(groups.cells() - expected)
    statistic = float(np.sum((distance - np.minimum(correction, distance)) ** 2 / expected))
    return Test(p_value=float(stats.chi2.sf(statistic, 1)), test=name, statistic=statistic)


def expected_counts(groups: TwoGroups) -> np.ndarray:
    """What each cell of one table would hold if both groups had one share; cells as in `TwoGroups.cells`."""
    cells = groups.cells().astype(float)
    return cells.sum(axis=1, keepdims=True) * cells.sum(axis=0, keepdims=True) / cells.sum()
