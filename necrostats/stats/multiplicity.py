"""p-values of several tests taken together. statsmodels has it too, at two seconds for the import."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks


def holm(p_values: ArrayLike) -> np.ndarray:
    """Holm's step-down p-values (n,), at most 1; tests that gave none (NaN) are passed over and stay NaN.

    Holm S. Scand J Stat 1979;6:65-70. Raises StatisticsError for a p below 0 or above 1.
    """
    p = np.atleast_1d(checks.numbers("p_values", p_values)).astype(float)
    checks.refuse("p_values", p, (p < 0) | (p > 1), "is not between 0 and 1.")
    adjusted = np.full(p.shape, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    adjusted[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * np.arange(order.size, 0, -1)))
    return adjusted
