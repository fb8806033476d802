from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special

from necrostats.stats.comparisons.common import two_groups
from necrostats.stats.comparisons.restricted import beyond, difference_variance, ratio_variance


def _groups(*table):
    return two_groups(*([each] for each in table))


def test_without_a_difference_the_fitted_share_is_that_of_all_and_so_it_is_for_a_ratio_of_1():
    """8 of 10 and 2 of 10: both fitted at 10/20; 20/19 × (0.25/10 + 0.25/10) = 1/19."""
    groups = _groups(8, 10, 2, 10)
    assert difference_variance(groups, np.array([0.0])) == pytest.approx(1 / 19)
    assert ratio_variance(groups, np.array([1.0])) == pytest.approx(1 / 19)


def test_at_the_difference_and_the_ratio_seen_the_fitted_shares_are_those_seen():
    """8 of 10 and 3 of 10: 20/19 × (0.16/10 + 0.21/10), and for the ratio 8/3 20/19 × (0.016 + (8/3)² × 0.021)."""
    groups = _groups(8, 10, 3, 10)
    assert difference_variance(groups, np.array([0.5])) == pytest.approx(20 / 19 * 0.037)
    assert ratio_variance(groups, np.array([8 / 3])) == pytest.approx(20 / 19 * (0.016 + (8 / 3) ** 2 * 0.021))


@pytest.mark.parametrize("table", [(8, 10, 2, 10), (1, 7, 3, 12), (0, 6, 2, 9), (5, 5, 0, 4)])
@pytest.mark.parametrize("given", [-0.4, 0.1, 0.35])
def test_the_closed_form_is_the_most_likely_pair_of_shares_with_that_difference(table, given):
    """The likelihood searched by scipy instead of the cubic of Miettinen and Nurminen."""
    a, n, b, m = table

    def unlikely(q):
        p = q + given
        return -sum(special.xlogy(k, s) for k, s in ((a, p), (n - a, 1 - p), (b, q), (m - b, 1 - q)))

    ends = (max(0, -given), min(1, 1 - given))
    q = optimize.minimize_scalar(unlikely, bounds=ends, method="bounded", options={"xatol": 1e-12}).x
    q = min((*ends, q), key=unlikely)
    p = q + given
    expected = (n + m) / (n + m - 1) * (p * (1 - p) / n + q * (1 - q) / m)
    assert difference_variance(_groups(*table), np.array([given])) == pytest.approx(expected, abs=2e-7)


def test_at_the_ends_of_what_a_difference_or_ratio_can_be_nothing_varies():
    groups = _groups(3, 5, 1, 5)
    assert difference_variance(groups, np.array([1.0])) == pytest.approx(0, abs=1e-12)
    assert difference_variance(groups, np.array([-1.0])) == pytest.approx(0, abs=1e-12)
    assert ratio_variance(groups, np.array([0.0])) == pytest.approx(0, abs=1e-12)


def test_beyond_is_positive_past_what_is_allowed_negative_within_and_certain_at_no_distance():
    found = beyond(np.array([4.0, 1.0, 0.0, 0.0, 2.0]), np.array([1.0, 4.0, 0.0, 3.0, 0.0]))
    assert found.tolist() == pytest.approx([0.6, -0.6, -1, -1, 1])
