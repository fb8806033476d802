import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import mahalanobis
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from necrostats.errors import StatisticsError
from necrostats.stats.confounding import e_value, e_value_of_difference, largest_gap, mean_gap, share_gap


def test_a_difference_of_one_standard_deviation_counts_as_exp_of_0_91():
    """VanderWeele and Ding, Ann Intern Med 2017;167:268 (from memory)."""
    found, expected = e_value_of_difference(2.0, 1.0, 3.0, 2.0), e_value(*np.exp([0.91, 0.455, 1.365]))
    assert (found.estimate, found.limit) == (pytest.approx(expected.estimate), pytest.approx(expected.limit))


def test_an_interval_that_holds_no_difference_has_1_and_a_sign_does_not_matter():
    assert e_value_of_difference(0.2, -0.1, 0.5, 1.0).limit == 1.0
    assert e_value_of_difference(-0.3, -0.5, -0.1, 1.0).limit == pytest.approx(
        e_value_of_difference(0.3, 0.1, 0.5, 1.0).limit
    )


def test_no_spread_and_no_number_are_refused():
    for given_ in ((1.0, 0.5, 1.5, 0.0), (float("nan"), 0.5, 1.5, 1.0)):
        with pytest.raises(StatisticsError):
            e_value_of_difference(*given_)


@given(st.floats(0.01, 3.0), st.floats(0.01, 3.0))
def test_a_larger_difference_needs_a_stronger_confounder(one, other):
    first, second = (e_value_of_difference(each, 0.0, 4.0, 1.0).estimate for each in (one, other))
    assert (first <= second) == (one <= other) or np.isclose(first, second)


COUNTS = st.lists(st.integers(1, 40), min_size=3, max_size=3)


def test_two_means_worked_by_hand():
    """2, 4, 6 and 1, 2, 3: means 4 and 2, variances 4 and 1, so 2 / √2.5 = 1.2649."""
    assert mean_gap([2, 4, 6], [1, 2, 3]) == pytest.approx(1.26491, abs=5e-6)


def test_two_shares_worked_by_hand():
    """30 of 100 against 50 of 100: 0.2 / √((0.21 + 0.25) / 2) = 0.4170."""
    assert share_gap([70, 30], [50, 50]) == pytest.approx(0.41703, abs=5e-6)


def test_with_equal_sizes_it_is_the_t_statistic_of_statsmodels_without_its_size():
    draw = np.random.default_rng(1)
    one, two = draw.normal(1, 2, 25), draw.normal(0, 3, 25)
    t = CompareMeans(DescrStatsW(one), DescrStatsW(two)).ttest_ind(usevar="pooled")[0]
    assert mean_gap(one, two) == pytest.approx(abs(t) / np.sqrt(25 / 2), rel=1e-12)


@given(COUNTS, COUNTS)
def test_three_levels_agree_with_the_distance_of_scipy_whichever_level_is_left_out(one, two):
    first, second = np.array(one) / sum(one), np.array(two) / sum(two)
    spread = sum(np.diag(each) - np.outer(each, each) for each in (first, second)) / 2
    for left_out in range(3):
        kept = [level for level in range(3) if level != left_out]
        outside = mahalanobis(first[kept], second[kept], np.linalg.inv(spread[np.ix_(kept, kept)]))
        assert share_gap(one, two) == pytest.approx(outside, abs=1e-9)


@given(COUNTS, COUNTS)
def test_order_of_groups_and_of_levels_and_group_size_change_nothing(one, two):
    here = share_gap(one, two)
    assert share_gap(two, one) == pytest.approx(here, abs=1e-9)
    assert share_gap(one[::-1], two[::-1]) == pytest.approx(here, abs=1e-9)
    assert share_gap(np.multiply(one, 7), two) == pytest.approx(here, abs=1e-9)


@pytest.mark.parametrize(("one", "two"), [([1], [2, 3]), ([], [1, 2]), ([4, 4], [5, 5]), ([1, 2], [3])], ids=str)
def test_means_of_one_value_or_of_no_spread_have_no_gap_that_can_be_told(one, two):
    assert np.isnan(mean_gap(one, two))


def test_groups_that_are_all_alike_are_no_distance_apart():
    assert mean_gap([4, 4], [4, 4]) == 0
    assert share_gap([5, 0], [9, 0]) == 0
    assert share_gap([3, 3, 0], [5, 5, 0]) == 0


@pytest.mark.parametrize(("one", "two"), [([0, 0], [1, 2]), ([5, 0], [0, 5]), ([5, 0, 0], [0, 5, 5])], ids=str)
def test_an_empty_group_or_levels_that_never_meet_have_no_gap_that_can_be_told(one, two):
    assert np.isnan(share_gap(one, two))


def test_of_three_groups_the_largest_gap_is_given_and_unknown_ones_are_passed_over():
    assert largest_gap([[70, 30], [50, 50], [60, 40]], share_gap) == pytest.approx(0.41703, abs=5e-6)
    assert largest_gap([[70, 30], [50, 50], [0, 0]], share_gap) == pytest.approx(0.41703, abs=5e-6)
    assert np.isnan(largest_gap([[70, 30]], share_gap))
