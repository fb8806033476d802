"""Events known only to lie in a range: the innermost intervals, the only places where the likelihood puts mass.

Ranges are half-open, (left, right]. Each end is a cut just after a value; an exact event is the stretch between the
cuts just before and just after it. So (t, ∞) does not hold an event at t, and (1, 3] and (3, 5] do not meet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks


@dataclass(frozen=True, kw_only=True, eq=False)
class Innermost:
    """Innermost intervals in order: `left` (m,), `right` (m,; infinite at the end), equal where exact.

    Range i holds those from place `first` to place `last` (n,), never none.
    """

    left: np.ndarray
    right: np.ndarray
    first: np.ndarray
    last: np.ndarray


def innermost(left: ArrayLike, right: ArrayLike) -> Innermost:
    """The innermost intervals of ranges (left, right] (n,); exact where equal, open where right is infinite or NaN.

    Turnbull BW. J R Stat Soc B 1976;38:290-295; Peto R. Appl Stat 1973;22:86-91.
    Raises StatisticsError for ranges from high to low, and for a left end that is missing or below 0.
    """
    low, high = _checked(left, right)
    values, rank = np.unique(np.concatenate([low, high]), return_inverse=True)
    exact = low == high
    start = 2 * rank[: low.size] + ~exact
    end = 2 * rank[low.size :] + 1
    marks = np.unique(np.concatenate([2 * end, 2 * start + 1]))  # at one cut an end comes before a start
    opens = np.flatnonzero((marks[:-1] % 2 == 1) & (marks[1:] % 2 == 0))
    starts, ends = marks[opens] // 2, marks[opens + 1] // 2
    return Innermost(
        left=values[starts // 2], right=values[ends // 2],
        first=np.searchsorted(starts, start), last=np.searchsorted(ends, end, side="right") - 1,
    )  # fmt: skip


def _checked(left: ArrayLike, right: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    checks.one_length(left=left, right=right)
    low, high = checks.not_negative("left", left), checks.numbers("right", right)
    high = np.where(np.isnan(high), np.inf, high)
    checks.refuse("right", high, high < low, "is before its left end. Correct the range, or leave it out and count it.")
    return low, high
