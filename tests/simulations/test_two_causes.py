"""Series with two causes, and what is true of them."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from simulations.two_causes import LAST_SEEN, ends, truth


@pytest.mark.simulation
def test_what_is_true_is_what_many_courses_show():
    found = ends(np.random.default_rng(1), (0.02, 0.004), np.arange(200_000))
    true = truth((0.02, 0.004), np.arange(45))
    known = found.time[:, None] > np.arange(45)
    assert_allclose(known.mean(axis=0), true.free, atol=0.005)
    assert_allclose(((found.cause == 1)[:, None] & ~known).mean(axis=0), true.first, atol=0.005)


def test_all_courses_of_a_patient_are_followed_to_one_day():
    whose = np.repeat(np.arange(500), 3)
    found = ends(np.random.default_rng(1), (1e-9, 1e-9), whose)
    assert (found.cause == 0).all() and np.unique(np.stack([whose, found.time]), axis=1).shape[1] == 500
    assert found.time.min() >= LAST_SEEN[0] and found.time.max() <= LAST_SEEN[1]


def test_the_first_cause_counts_where_both_fall_on_one_day():
    true = truth((np.log(2), np.log(2)), np.arange(3))
    assert_allclose(true.free, [1, 0.25, 0.0625])
    assert_allclose(true.first, [0, 0.5, 0.625])
