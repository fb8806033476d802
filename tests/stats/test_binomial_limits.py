import numpy as np
import pytest
from scipy import stats

from necrostats.stats.binomial_limits import exact_limits


def test_each_limit_leaves_the_tail_it_was_asked_for():
    low, high = exact_limits(np.array([3.0]), np.array([20.0]), 0.025)
    assert stats.binom.sf(2, 20, low[0]) == pytest.approx(0.025, abs=1e-12)
    assert stats.binom.cdf(3, 20, high[0]) == pytest.approx(0.025, abs=1e-12)


def test_the_ends_are_exactly_0_and_1():
    low, high = exact_limits(np.array([0.0, 7.0]), np.array([7.0, 7.0]), 0.025)
    assert (low[0], high[1]) == (0.0, 1.0)
