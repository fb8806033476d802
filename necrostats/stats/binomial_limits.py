"""The limits behind Clopper–Pearson's interval, and behind all that stay inside it."""

from __future__ import annotations

import numpy as np
from scipy import special


def exact_limits(k: np.ndarray, n: np.ndarray, tail: float) -> tuple[np.ndarray, np.ndarray]:
    """Exact binomial limits of k of n with so much in each tail; n need not be whole. Exactly 0 and 1 at the ends."""
    low = np.where(k > 0, special.betaincinv(np.where(k > 0, k, 1.0), n - k + 1, tail), 0.0)
    rest = n - k
    high = np.where(rest > 0, special.betainccinv(k + 1, np.where(rest > 0, rest, 1.0), tail), 1.0)
    return low, high
