import numpy as np
import pytest

from necrostats.errors import StatisticsError
from necrostats.stats.comparisons.clustered_rates import clustered_rate_ratio
from necrostats.stats.comparisons.rate_ratio import rate_ratio
from necrostats.stats.rates import clustered_rate


def test_the_ratio_is_that_of_the_two_rates_and_swapping_turns_it_over():
    one, other = ([3, 0, 1, 0, 2], [10, 20, 15, 5, 10]), ([1, 0, 0, 1], [10, 30, 20, 10])
    found, back = clustered_rate_ratio(*one, *other), clustered_rate_ratio(*other, *one)
    assert found.estimate == pytest.approx((6 / 60) / (2 / 70))
    assert (1 / back.estimate, 1 / back.high, 1 / back.low) == pytest.approx((found.estimate, found.low, found.high))
    assert back.p_value == pytest.approx(found.p_value)


def test_the_error_is_that_of_each_rate_taken_together():
    """Large groups: the t quantile is z, and the log variance the sum of those behind `clustered_rate`."""
    rng = np.random.default_rng(3)
    k, m, time = rng.poisson(2, 4000), rng.poisson(1, 4000), np.ones(4000)
    found = clustered_rate_ratio(k, time, m, time)
    half = [np.log(each.high / each.low) / 2 for each in (clustered_rate(k, time), clustered_rate(m, time))]
    assert np.log(found.high / found.low) / 2 == pytest.approx(np.hypot(*half), rel=1e-3)


def test_events_that_crowd_widen_the_limits_of_the_exact_ratio():
    crowded, spread = np.array([6, 0, 0, 0, 0, 0, 0, 0, 0, 0]), np.array([1] * 6 + [0] * 4)
    time = np.full(10, 30)
    robust = clustered_rate_ratio(crowded, time, spread, time)
    exact = rate_ratio(6, 300, 6, 300)
    assert robust.low < exact.low
    assert robust.high > exact.high


def test_no_events_or_a_single_unit_give_no_ratio_and_a_note():
    for k, time in (([0, 0], [3, 4]), ([2], [5])):
        found = clustered_rate_ratio(k, time, [1, 0], [4, 4])
        assert np.isnan(found.estimate)
        assert [note.code for note in found.notes] == ["ZERO_EVENTS"]


def test_events_without_exposure_are_refused():
    with pytest.raises(StatisticsError, match="exposure is 0"):
        clustered_rate_ratio([1, 0], [0, 4], [1, 0], [4, 4])
