"""Limits of control charts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.control_charts import (
    ACTION,
    cusum_threshold,
    false_alarm_rate,
    funnel_limits,
    predicted_by_rate,
    predicted_events,
    rate_chart,
    rate_cusum,
    run_chart,
    share_chart,
    share_cusum,
    time_chart,
)


def test_four_tosses_worked_by_hand():
    """P(4 of 4) is 1/16: a signal at a tail of 0.07, none at 0.05."""
    assert share_chart(0.5, 4, tail=0.07).signals([4]).tolist() == [True]
    assert share_chart(0.5, 4, tail=0.05).signals([4]).tolist() == [False]


def test_the_time_between_two_events_of_a_known_rate():
    limits = time_chart(0.1)
    assert_allclose(limits.centre, 10)
    assert_allclose(np.exp(-0.1 * limits.high[0]), ACTION)
    assert_allclose(1 - np.exp(-0.1 * limits.low[0]), ACTION)


@given(st.floats(0, 1), st.integers(0, 60))
def test_a_steady_process_gives_a_false_signal_no_more_often_than_stated(share, n):
    assert false_alarm_rate(share, n) <= 2 * ACTION + 1e-12


@given(st.integers(0, 40), st.integers(1, 40), st.integers(0, 30))
def test_the_band_of_what_is_expected_is_wider_than_without_the_baselines_own_uncertainty(k, more, n):
    band, sure = predicted_events(k, k + more, n), stats.binom(n, (k + 0.5) / (k + more + 1))
    assert band.low[0] <= sure.ppf(0.025) + 1 and band.high[0] >= sure.ppf(0.975) - 1
    assert 0 <= band.low[0] <= band.high[0] <= n


def test_nothing_before_and_nothing_now():
    assert predicted_events(0, 0, 5).high[0] == 5
    assert predicted_events(3, 9, 0).high[0] == 0
    assert predicted_by_rate(0, 10, 10).low[0] == 0
    assert rate_chart(0, 5).high[0] == 0
    assert run_chart([]).useful == 0 and not run_chart([3, 3, 3]).signal


def test_a_shift_is_a_signal_of_the_run_chart_and_of_the_cusum():
    shifted = np.repeat([1.0, 2.0], 12)
    assert run_chart(shifted).signal
    sums = share_cusum(np.repeat([1, 4], 12), np.full(24, 14), 0.06, threshold=cusum_threshold(14, 0.06))
    assert not sums.signals[:12].any() and sums.signals[-1]


def test_the_threshold_gives_the_run_length_that_was_asked_for():
    threshold = cusum_threshold(14, 0.1, run_length=100, random=3)
    generator = np.random.default_rng(99)
    runs = [
        np.argmax(share_cusum(generator.binomial(14, 0.1, 3000), np.full(3000, 14), 0.1, threshold=threshold).signals)
        + 1
        for _ in range(300)
    ]
    assert 80 < np.mean(runs) < 125


def test_a_funnel_narrows_with_its_size_and_holds_the_stated_share():
    limits = funnel_limits(0.2, [10, 50, 500])
    assert (np.diff(limits.high) < 0).all() and (np.diff(limits.low) > 0).all()
    assert (limits.low < 0.2).all() and (limits.high > 0.2).all()


@pytest.mark.parametrize("share", [-0.1, 1.2, [0.1, 0.2]])
def test_a_share_must_be_one(share):
    with pytest.raises(StatisticsError):
        share_chart(share, 5)


@pytest.mark.parametrize(("run", "signal"), [(6, False), (7, False), (8, True)])
def test_a_run_is_too_long_only_beyond_what_is_expected(run, signal):
    """16 points: round(log2 16) + 3 = 7."""
    found = run_chart([*[1] * run, *[-1, 1] * 8][:16], median=0)
    assert (found.longest, found.longest_expected, found.signal) == (run, 7, signal)


def test_a_sum_is_a_signal_once_it_reaches_its_threshold():
    """Two events where one is expected, at twice the rate: 2 log 2 − 1."""
    reached = 2 * np.log(2) - 1
    for threshold, signal in ((reached - 1e-9, True), (reached, True), (reached + 1e-9, False)):
        assert rate_cusum([2], [1], threshold=threshold).signals.tolist() == [signal]
