from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons.rate_ratio import clustered_odds_ratio, clustered_rate_ratio, rate_ratio
from necrostats.stats.gee import logit_gee
from necrostats.stats.rates import clustered_rate

COUNTS, TIMES = st.integers(0, 60), st.floats(0.5, 5000)


@pytest.mark.parametrize("method", ["exact", "mid-P"])
@settings(deadline=None, derandomize=True, max_examples=80)
@given(a=COUNTS, b=COUNTS, time=TIMES, time_ref=TIMES)
def test_the_default_p_is_below_5_percent_just_when_the_95_percent_limits_leave_out_1(method, a, b, time, time_ref):
    found = rate_ratio(a, time, b, time_ref, method=method)
    if not a + b:
        assert np.isnan(found.p_value)
        return
    assert found.low <= found.estimate <= found.high
    if abs(found.p_value - 0.05) > 1e-9:
        assert (found.p_value < 0.05) == (not found.low <= 1 <= found.high)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(a=st.integers(1, 60), b=st.integers(1, 60), time=TIMES, time_ref=TIMES)
def test_swapping_the_groups_turns_the_ratio_over_and_the_unit_of_time_does_not_matter(a, b, time, time_ref):
    here, there = rate_ratio(a, time, b, time_ref), rate_ratio(b, time_ref, a, time)
    assert_allclose([here.low, here.high], [1 / there.high, 1 / there.low], rtol=1e-9)
    assert_allclose(here.p_value, there.p_value, rtol=1e-7)
    longer = rate_ratio(a, 7 * time, b, 7 * time_ref)
    assert_allclose([here.low, here.high, here.p_value], [longer.low, longer.high, longer.p_value], rtol=1e-9)


def test_p_at_no_events_is_not_halved():
    """0 v 5 events in equal times: the smaller tail is ½⁵, and its mid-P half of that."""
    assert rate_ratio(0, 10, 5, 10).p_value == pytest.approx(2 * 0.5**5)
    assert rate_ratio(0, 10, 5, 10, method="mid-P").p_value == pytest.approx(0.5**5)


def test_one_group_without_events_leaves_one_limit():
    none, all_ = rate_ratio(0, 100, 5, 100), rate_ratio(5, 100, 0, 100)
    assert (none.estimate, none.low) == (0, 0) and np.isfinite(none.high)
    assert (all_.estimate, all_.high) == (np.inf, np.inf) and all_.low > 0
    assert none.notes[0].code == all_.notes[0].code == "ZERO_EVENTS"


@pytest.mark.parametrize(
    ("counts", "code"), [((0, 9, 0, 9), "ZERO_EVENTS"), ((0, 0, 3, 9), "SMALL_N"), ((3, 9, 0, 0), "SMALL_N")]
)
def test_no_events_or_no_exposure_give_nothing_and_say_so(counts, code):
    found = rate_ratio(*counts)
    assert np.isnan([found.estimate, found.low, found.high, found.p_value]).all()
    assert [note.code for note in found.notes] == [code]


def test_what_cannot_be_is_refused():
    with pytest.raises(StatisticsError, match="2 events, but exposure is 0"):
        rate_ratio(2, 0, 1, 5)
    with pytest.raises(StatisticsError, match="below 0"):
        rate_ratio(2, 5, 1, -5)
    with pytest.raises(StatisticsError, match="one pair"):
        rate_ratio([2, 1], 5, 1, 5)
    with pytest.raises(ChoiceError, match="minlike"):
        rate_ratio(2, 5, 1, 5, test="minlik")
    with pytest.raises(ChoiceError, match="mid-P"):
        rate_ratio(2, 5, 1, 5, method="midp")


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


def _units(events, n, events_ref, n_ref, per_cluster=2):
    outcome = np.r_[np.arange(n) < events, np.arange(n_ref) < events_ref].astype(int)
    group = np.r_[np.ones(n), np.zeros(n_ref)].astype(int)
    cluster = np.r_[np.arange(n) // per_cluster, 1000 + np.arange(n_ref) // per_cluster]
    return outcome, group, cluster


def test_enough_events_are_compared_by_estimating_equations():
    units = _units(12, 60, 7, 60)
    found = clustered_odds_ratio(*units)
    fit = logit_gee(units[0], np.column_stack([np.ones(120), units[1]]), units[2])
    assert found.estimate == pytest.approx(np.exp(fit.coefficients[1]))
    assert (found.low, found.high) == pytest.approx((np.exp(fit.low[1]), np.exp(fit.high[1])))
    assert found.rule.startswith("Estimating equations")
    assert np.isfinite(found.statistic)


@pytest.mark.parametrize(("counts", "why"), [((4, 60, 9, 60), r"fewer than 5 events \(4\)"), ((0, 60, 9, 60), "empty")])
def test_few_events_or_an_empty_cell_are_compared_by_penalised_likelihood(counts, why):
    found = clustered_odds_ratio(*_units(*counts))
    k, n, m, size = counts
    assert found.estimate == pytest.approx((k + 0.5) * (size - m + 0.5) / ((n - k + 0.5) * (m + 0.5)), rel=1e-6)
    assert found.low < found.estimate < found.high < np.inf
    assert re.search(why, found.rule)
    assert "CLUSTER_IGNORED" in {note.code for note in found.notes}
    assert ("SEPARATION" in {note.code for note in found.notes}) == (k == 0)


@pytest.mark.parametrize(
    ("counts", "code"), [((0, 20, 0, 20), "ZERO_EVENTS"), ((20, 20, 20, 20), "ZERO_EVENTS"), ((0, 0, 5, 20), "SMALL_N")]
)
def test_nothing_to_compare_is_an_empty_answer_with_a_note(counts, code):
    found = clustered_odds_ratio(*_units(*counts))
    assert np.isnan([found.estimate, found.low, found.high, found.p_value]).all()
    assert [note.code for note in found.notes] == [code]


def test_a_group_of_one_cluster_is_not_compared():
    outcome, group, cluster = _units(6, 20, 8, 60)
    found = clustered_odds_ratio(outcome, group, np.where(group == 1, 0, cluster))
    assert np.isnan(found.estimate)
    assert [note.code for note in found.notes] == ["FEW_CLUSTERS"]


def test_a_model_can_be_asked_for_by_name():
    units = _units(4, 60, 9, 60)
    found = clustered_odds_ratio(*units, test="gee")
    assert "SMALL_N" in {note.code for note in found.notes}
    assert found.test != clustered_odds_ratio(*units).test
    with pytest.raises(StatisticsError, match="firth"):
        clustered_odds_ratio(*_units(0, 60, 9, 60), test="gee")
    with pytest.raises(ChoiceError, match="gee, firth"):
        clustered_odds_ratio(*units, test="wald")
