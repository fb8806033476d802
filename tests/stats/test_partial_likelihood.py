"""Sums over stretches of an axis, by adding only."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from necrostats.stats.partial_likelihood import over_points, over_stretches


def test_three_stretches_worked_by_hand():
    values, first, end = np.array([[1.0], [10.0], [100.0]]), np.array([0, 1, 2]), np.array([3, 2, 2])
    assert_array_equal(over_points(values, first, end, 4)[:, 0], [1, 11, 1, 0])
    assert_array_equal(over_stretches(np.array([[1.0], [2.0], [4.0], [8.0]]), first, end)[:, 0], [7, 2, 0])


def test_what_is_small_keeps_its_digits_beside_what_is_large():
    values = np.array([[1e200], [1.0]])
    assert over_points(values, np.array([0, 1]), np.array([1, 3]), 3)[:, 0].tolist() == [1e200, 1.0, 1.0]


def test_no_points_and_no_rows_give_nothing():
    none = np.zeros(0, dtype=int)
    assert over_points(np.zeros((0, 2)), none, none, 3).tolist() == [[0, 0]] * 3
    assert over_points(np.ones((1, 1)), np.array([0]), np.array([0]), 0).shape == (0, 1)
    assert over_stretches(np.zeros((0, 1)), np.array([0]), np.array([0])).tolist() == [[0]]


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12), st.integers(-5, 5)), max_size=20))
def test_they_are_the_plain_sums(rows):
    first = np.array([low for low, _, _ in rows], dtype=int)
    end = np.array([max(low, high) for low, high, _ in rows], dtype=int)
    values = np.array([[value] for _, _, value in rows], dtype=float).reshape(-1, 1)
    held = (first[:, None] <= np.arange(12)) & (np.arange(12) < end[:, None])
    assert_allclose(over_points(values, first, end, 12), held.T @ values)
    points = np.arange(12.0)[:, None] ** 2
    assert_allclose(over_stretches(points, first, end), held @ points)
