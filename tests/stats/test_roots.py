from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from necrostats.stats.roots import rising_root, sign_changes


def test_each_row_has_its_own_root_and_bracket():
    powers = np.array([1.0, 2.0, 3.0, 7.0])
    found = sign_changes(lambda x, rows: x ** powers[rows] - 0.3, np.zeros(4), np.ones(4))
    assert_allclose(found, 0.3 ** (1 / powers), rtol=1e-14)


def test_a_jump_is_found_where_it_is():
    found = sign_changes(lambda x, rows: np.where(x < 0.7, -1.0, 2.0), np.zeros(1), np.ones(1))
    assert_allclose(found, 0.7, rtol=1e-14)


def test_a_bracket_of_one_sign_gives_its_end_nearer_to_zero():
    assert sign_changes(lambda x, rows: x + 1, np.zeros(1), np.ones(1)).tolist() == [0.0]
    assert sign_changes(lambda x, rows: x - 2, np.zeros(1), np.ones(1)).tolist() == [1.0]


def test_no_rows_are_no_trouble():
    assert sign_changes(lambda x, rows: x, np.zeros(0), np.ones(0)).size == 0


def test_a_rising_function_meets_zero_even_where_newton_would_leave_the_bracket():
    targets = np.array([0.1, 0.5, 0.999])
    found = rising_root(
        lambda x: np.arctan(50 * (x - targets)), lambda x: 50 / (1 + (50 * (x - targets)) ** 2), np.zeros(3), np.ones(3)
    )
    assert_allclose(found, targets, rtol=0, atol=1e-12)
