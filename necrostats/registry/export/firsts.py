"""The first row of each group, without sorting."""

from __future__ import annotations

import numpy as np


def first_rows(group: np.ndarray, groups: int) -> np.ndarray:
    """For each of so many groups the first row that `group` (N,) puts into it; -1 where there is none."""
    first = np.full(groups, -1, dtype=np.int64)
    first[group[::-1]] = np.arange(len(group))[::-1]
    return first
