from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from necrostats.errors import StatisticsError
from necrostats.stats.innermost import innermost

quickly = settings(deadline=None, derandomize=True, max_examples=60)
ranges = st.lists(st.tuples(st.integers(0, 12), st.sampled_from([0, 1, 2, 5, np.inf])), min_size=1, max_size=15)


def _pairs(found):
    return list(zip(found.left.tolist(), found.right.tolist(), strict=True))


def test_four_ranges_worked_by_hand():
    """(0, 4], (2, 6], (5, 9] and (6, ∞): innermost (2, 4], (5, 6] and (6, 9]."""
    found = innermost([0, 2, 5, 6], [4, 6, 9, np.inf])
    assert _pairs(found) == [(2, 4), (5, 6), (6, 9)]
    assert_array_equal(found.first, [0, 0, 1, 2])
    assert_array_equal(found.last, [0, 1, 2, 2])


def test_a_right_censored_range_does_not_hold_an_event_at_its_start():
    found = innermost([5, 5], [5, np.nan])
    assert _pairs(found) == [(5, 5), (5, np.inf)]
    assert_array_equal([found.first, found.last], [[0, 1], [0, 1]])


def test_a_range_holds_an_event_at_its_end_but_not_at_its_start():
    assert _pairs(innermost([3, 1], [3, 3])) == [(3, 3)]
    assert _pairs(innermost([3, 3], [3, 6])) == [(3, 3), (3, 6)]


def test_ranges_that_touch_do_not_meet():
    assert _pairs(innermost([1, 3], [3, 5])) == [(1, 3), (3, 5)]


def _holds(left, right, inner):
    """Whether (left, right], or {left}, holds the whole of an innermost interval."""
    a, b = inner
    exact, inner_exact = left == right, a == b
    if exact:
        return inner_exact and a == left
    return (left < a if inner_exact else left <= a) and b <= right


@quickly
@given(rows=ranges)
def test_every_range_holds_the_places_it_says_and_no_others(rows):
    left = np.array([start for start, _ in rows], dtype=float)
    right = left + [width for _, width in rows]
    found = innermost(left, right)
    assert (found.first <= found.last).all()
    for row in range(left.size):
        held = [place for place, inner in enumerate(_pairs(found)) if _holds(left[row], right[row], inner)]
        assert held == list(range(found.first[row], found.last[row] + 1))


@quickly
@given(rows=ranges)
def test_no_range_starts_or_ends_inside_an_innermost_one(rows):
    left = np.array([start for start, _ in rows], dtype=float)
    right = left + [width for _, width in rows]
    for a, b in _pairs(innermost(left, right)):
        ends = np.concatenate([left, right])
        assert not ((ends > a) & (ends < b)).any()


def test_ranges_that_cannot_be_are_refused():
    with pytest.raises(StatisticsError, match="right number 2: 3 is before its left end"):
        innermost([1, 4], [2, 3])
    with pytest.raises(StatisticsError, match="left: -1 is below 0"):
        innermost([-1], [3])
    with pytest.raises(StatisticsError, match="line up"):
        innermost([1, 2], [3])
