"""Shares fitted under a stated difference or ratio, and the score variances they give (factor N/(N − 1)).

Miettinen O, Nurminen M. Stat Med 1985;4:213-226, appendix: the likelihood equations in closed form.
"""

from __future__ import annotations

import numpy as np

from necrostats.stats.comparisons.common import TwoGroups


def difference_variance(groups: TwoGroups, difference: np.ndarray) -> np.ndarray:
    """Variance (r,) of the difference of two shares when it is `difference` (r,), −1 to 1."""
    q = _reference_given_difference(groups, difference)
    p = np.clip(q + difference, 0, 1)
    return _factor(groups) * (p * (1 - p) / groups.n + q * (1 - q) / groups.m)


def ratio_variance(groups: TwoGroups, ratio: np.ndarray) -> np.ndarray:
    """Variance (r,) of share − ratio × reference share when the ratio of the shares is `ratio` (r,), 0 or more."""
    total = groups.n + groups.m
    b = groups.n * ratio + groups.a + groups.m + groups.b * ratio
    root = np.sqrt(np.maximum(b**2 - 4 * total * ratio * (groups.a + groups.b), 0))
    q = np.clip(2 * (groups.a + groups.b) / (b + root), 0, 1)
    p = np.clip(ratio * q, 0, 1)
    return _factor(groups) * (p * (1 - p) / groups.n + ratio**2 * q * (1 - q) / groups.m)


def beyond(distance: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """Above 0 where the squared distance is more than allowed, below 0 where it is less, −1 where it is 0."""
    total = distance + allowed
    relative = np.divide(distance - allowed, total, out=-np.ones_like(total), where=total > 0)
    return np.where(distance > 0, relative, -1.0)


def _factor(groups: TwoGroups) -> np.ndarray:
    total = groups.n + groups.m
    return total / (total - 1)


def _reference_given_difference(groups: TwoGroups, d: np.ndarray) -> np.ndarray:
    """The fitted reference share: the root of a cubic that lies where both shares are between 0 and 1."""
    cube = groups.n + groups.m
    square = (groups.n + 2 * groups.m) * d - cube - (groups.a + groups.b)
    line = d * (groups.m * d - cube - 2 * groups.b) + groups.a + groups.b
    none = groups.b * d * (1 - d)
    third = square / (3 * cube)
    v = third**3 - square * line / (6 * cube**2) + none / (2 * cube)
    u = np.where(v < 0, -1.0, 1.0) * np.sqrt(np.maximum(third**2 - line / (3 * cube), 0))
    cosine = np.divide(v, u**3, out=np.zeros_like(v), where=u != 0)
    angle = (np.pi + np.arccos(np.clip(cosine, -1, 1))) / 3
    return np.clip(2 * u * np.cos(angle) - third, np.maximum(0, -d), np.minimum(1, 1 - d))
