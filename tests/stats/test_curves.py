from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.curves import widened
from necrostats.stats.incidence import aalen_johansen, at, kaplan_meier, quantile


def test_survival_is_one_before_any_event_with_limits_of_one_and_unknown_after_the_last_time_seen():
    """Group a: censored at 1, an event at 2 (of 3), last seen at 4; b runs to 9. By hand: 1, then 2/3."""
    curve = kaplan_meier([1, 2, 4, 4, 9, 9], [0, 1, 0, 0, 1, 0], group=list("aaaabb"))
    times = curve.table.time.tolist()
    assert times == [1, 2, 4, 9]
    assert_allclose(curve.estimate[0], [1, 2 / 3, 2 / 3, np.nan])
    assert (curve.low[0, 0], curve.high[0, 0]) == (1, 1)
    assert np.isnan([curve.low[0, 3], curve.high[0, 3], curve.std_error[0, 3]]).all()


def test_survival_that_has_reached_0_stays_there_and_has_no_error_or_limits():
    curve = kaplan_meier([2, 5], [1, 1], group=["a", "b"])
    assert_allclose(curve.estimate[0], [0, 0])
    assert np.isnan([curve.std_error[0, 0], curve.low[0, 0], curve.high[0, 0]]).all()
    assert curve.estimate[1].tolist() == [1, 0]


def test_incidences_of_all_causes_and_the_share_free_of_events_make_one():
    """Cause x at 1, y at 2, censored at 3, x at 4: by hand x 1/4, 1/4, 1/4, 3/4 and y 0, 1/4, 1/4, 1/4."""
    curve = aalen_johansen([1, 2, 3, 4], [1, 2, 0, 1], causes=("x", "y"))
    assert_allclose(curve.estimate[0], [[0.25, 0.25, 0.25, 0.75], [0, 0.25, 0.25, 0.25]])
    assert_allclose(curve.estimate[0].sum(axis=0) + curve.event_free[0], 1)
    assert np.isnan(curve.low[0, 1, 0]) and np.isnan(curve.high[0, 1, 0])


def test_a_curve_cannot_be_changed():
    curve = kaplan_meier([1], [1])
    with pytest.raises(FrozenInstanceError):
        curve.estimate = np.zeros(1)


quickly = settings(deadline=None, derandomize=True, max_examples=60)


def test_a_level_stretch_at_one_half_has_its_middle_as_median_for_time_and_its_start_for_sessions():
    curves = aalen_johansen([1, 2, 5, 9], [1, 1, 2, 1])
    assert quantile(curves).estimate[0, 0] == (2 + 9) / 2
    assert quantile(curves, midpoint=False).estimate[0, 0] == 2


def test_a_level_stretch_that_runs_to_the_end_of_follow_up_ends_there():
    assert quantile(kaplan_meier([2, 8], [1, 0])).estimate[0] == 5


def test_a_median_that_is_not_reached_is_nan_with_a_note():
    found = quantile(aalen_johansen([1, 2, 3, 4], [1, 0, 0, 2], causes=["x", "y"]), 0.9)
    assert np.isnan(found.estimate).all() and found.estimate.shape == (1, 2)
    assert found.notes[0].code == "NOT_REACHED" and "2 of 2" in found.notes[0].text
    assert quantile(kaplan_meier([1, 2], [1, 1])).notes == ()


@quickly
@given(times=st.lists(st.integers(0, 30), min_size=1, max_size=30))
def test_without_censoring_the_median_is_the_plain_median(times):
    assert_allclose(quantile(kaplan_meier(times, np.ones(len(times)))).estimate[0], np.median(times))


@quickly
@given(
    rows=st.lists(st.tuples(st.integers(0, 30), st.integers(0, 2)), min_size=1, max_size=40),
    p=st.sampled_from([0.25, 0.5, 0.75]),
)
def test_limits_of_a_quantile_hold_it(rows, p):
    time, cause = np.array(rows).T
    for curve in (kaplan_meier(time, cause > 0), aalen_johansen(time, cause)):
        found = quantile(curve, p)
        for lower, upper in ((found.low, found.estimate), (found.estimate, found.high)):
            both = np.isfinite(lower) & np.isfinite(upper)
            assert (lower[both] <= upper[both]).all()


@pytest.mark.parametrize("p", [0, 1, 50, np.nan])
def test_a_share_outside_0_to_1_is_refused(p):
    with pytest.raises(StatisticsError, match="p is"):
        quantile(kaplan_meier([1], [1]), p)


def test_heights_are_right_continuous_and_risk_is_counted_just_before():
    found = at(kaplan_meier([2, 4, 9], [1, 0, 0]), [0, 2, 3, 4, 9])
    assert_allclose(found.estimate[0], [1, 2 / 3, 2 / 3, 2 / 3, 2 / 3])
    assert found.at_risk.tolist() == [[3, 3, 2, 2, 1]]


def test_before_the_first_time_survival_is_1_for_certain_and_incidence_0():
    survival, incidence = at(kaplan_meier([5], [1]), 1), at(aalen_johansen([5], [1]), 1)
    assert (survival.estimate.item(), survival.low.item(), survival.high.item()) == (1, 1, 1)
    assert incidence.estimate.item() == 0 and np.isnan(incidence.low.item())


def test_after_the_end_of_follow_up_nothing_is_known_unless_asked_to_extend():
    curve = kaplan_meier([2, 4], [1, 0])
    assert np.isnan(at(curve, [5]).estimate).all()
    assert at(curve, [5], extend=True).estimate.item() == 0.5
    grouped = kaplan_meier([2, 4, 9], [1, 0, 1], group=list("aab"))
    assert np.isnan(at(grouped, [6]).estimate[0]).all() and at(grouped, [6], extend=True).estimate[0].item() == 0.5


def test_a_curve_that_has_ended_is_known_for_ever():
    found = at(aalen_johansen([1, 2], [1, 2]), [100])
    assert found.estimate[0, :, 0].tolist() == [0.5, 0.5] and found.at_risk.item() == 0


def test_a_group_with_nobody_has_no_height_even_if_extended():
    curve = kaplan_meier([1], [1], group=["a"], groups=["a", "b"])
    found = at(curve, [0, 1, 2], extend=True)
    assert np.isnan(found.estimate[1]).all() and found.at_risk[1].tolist() == [0, 0, 0]
    assert np.isnan(at(aalen_johansen([], []), [1]).estimate).all()
    assert np.isnan(quantile(curve).estimate[1]) and np.isnan(quantile(aalen_johansen([], [])).estimate).all()


def test_the_ends_of_a_level_stretch_at_one_half_are_kept_beside_its_middle():
    found = quantile(kaplan_meier([10, 20, 30, 40], [1, 1, 1, 1]))
    assert (found.estimate[0], found.stretch.first[0], found.stretch.last[0]) == (25, 20, 30)
    stepped = quantile(kaplan_meier([10, 20, 30], [1, 1, 1]))
    assert (stepped.estimate[0], stepped.stretch.first[0], stepped.stretch.last[0]) == (20, 20, 20)


TIME, CAUSE = np.arange(1, 13), np.array([1, 1, 0, 2, 1, 1, 2, 0, 1, 1, 1, 0])


def _curve(**more):
    return aalen_johansen(TIME, CAUSE, causes=(1, 2), cluster=np.repeat(np.arange(6), 2), **more)


def test_limits_are_those_of_the_error_times_t_over_z_and_the_root_of_n_over_n_less_one():
    curve = _curve()
    wide = widened(curve, [6])
    share, error = curve.estimate[0, 0, 5], curve.std_error[0, 0, 5]
    spread = stats.t.ppf(0.975, 5) * error * np.sqrt(6 / 5) / (share * -np.log(share))
    assert wide.low[0, 0, 5] == pytest.approx(share ** np.exp(spread))
    assert wide.high[0, 0, 5] == pytest.approx(share ** np.exp(-spread))


def test_the_estimate_and_its_error_stay_and_many_clusters_change_nothing():
    curve = _curve()
    assert widened(curve, [6]).std_error is curve.std_error
    assert np.allclose(widened(curve, [10**9]).low, curve.low, equal_nan=True, atol=1e-8)


def test_one_cluster_or_none_has_no_limits():
    curve = _curve(group=np.repeat(["a", "b"], [10, 2]), groups=["a", "b", "c"])
    assert np.isnan(widened(curve, [5, 1, 0]).low[1:]).all()


def test_each_group_needs_its_number():
    with pytest.raises(StatisticsError):
        widened(_curve(), [5, 1])
