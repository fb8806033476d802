from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.means import mean, mean_difference, rank_sum


def test_the_mean_of_four_numbers_worked_by_hand():
    """1, 2, 3, 6: mean 3, standard deviation 2.1602, error 1.0801, t(3) 3.1824."""
    found = mean([1, 2, 3, 6])
    assert (found.estimate, found.low, found.high) == pytest.approx((3, -0.43746, 6.43746), abs=5e-5)


def test_the_difference_has_the_limits_of_welch():
    draw = np.random.default_rng(3)
    one, two = draw.normal(2, 1, 12), draw.normal(0, 4, 30)
    interval = stats.ttest_ind(one, two, equal_var=False).confidence_interval(0.9)
    found = mean_difference(one, two, level=0.9)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))
    assert found.estimate == pytest.approx(one.mean() - two.mean())


@pytest.mark.parametrize("values", [[], [4], [2, 2, 2]])
def test_without_spread_there_are_no_limits_and_a_note_says_so(values):
    for found in (mean(values), mean_difference(values, values)):
        assert np.isnan(found.low) and np.isnan(found.high)
        assert found.notes[0].code == "SMALL_N"


def test_a_missing_value_is_refused():
    with pytest.raises(StatisticsError):
        mean([1, np.nan])


def test_a_mean_of_fewer_than_twenty_values_carries_a_note():
    values = np.random.default_rng(3).geometric(0.3, 20)
    assert mean(values).notes == ()
    (note,) = mean(values[1:]).notes
    assert note.code == "SMALL_N" and "Only 19 values" in note.text


quickly = settings(deadline=None, derandomize=True, max_examples=30)


def test_two_against_two_worked_by_hand():
    """(3, 4) against (1, 2): all 4 pairs higher, 1 of 6 orders; differences 1, 2, 2, 3; no limits at 95 %."""
    found = rank_sum([3, 4], [1, 2])
    assert (found.statistic, found.shift, found.low, found.high) == (4, 2, -np.inf, np.inf)
    assert_allclose(found.p_value, 2 / 6)


def test_the_permeability_of_the_amnion_is_as_published():
    """Hollander M, Wolfe DA. Nonparametric Statistical Methods, 1973, p. 69-71, as in R's help (from memory): W = 35,
    the one-sided p .1272, shift .305, limits −.15 to .76."""
    term = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
    found = rank_sum(term, [1.15, 0.88, 0.90, 0.74, 1.21])
    assert found.statistic == 35 and found.method == "exact"
    assert_allclose(found.p_value / 2, 0.1272, atol=0.5e-4)
    assert_allclose([found.shift, found.low, found.high], [0.305, -0.15, 0.76], atol=0.5e-3)


@quickly
@given(st.integers(0, 10**6), st.integers(2, 12), st.integers(2, 12), st.booleans())
def test_p_is_scipys_and_the_limits_hold_the_shift(seed, m, n, tied):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=m), rng.normal(size=n) + 0.5
    if tied:
        x, y = np.round(x), np.round(y)
    found = rank_sum(x, y)
    if found.notes:
        return
    method = "exact" if found.method == "exact" else "asymptotic"
    assert_allclose(found.p_value, stats.mannwhitneyu(x, y, method=method).pvalue, rtol=1e-9)
    assert found.low <= found.shift <= found.high
    back = rank_sum(y, x)
    assert_allclose([back.shift, back.low, back.high], [-found.shift, -found.high, -found.low], atol=1e-9)


def test_nothing_to_test_is_said():
    assert rank_sum([], [1, 2]).notes and rank_sum([1, 1], [1]).notes
    assert "tied" in rank_sum([1, 2], [1, 3], method="exact").notes[0].text.lower()
    with pytest.raises(ChoiceError):
        rank_sum([1], [2], method="permutation")


@pytest.mark.parametrize(("n", "method"), [(49, "exact"), (50, "normal"), (51, "normal")])
def test_ranks_are_exact_with_fewer_than_fifty_values_in_both_samples(n, method):
    assert rank_sum(np.arange(n) + 0.5, np.arange(3)).method.startswith(method)
