from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from numpy.testing import assert_allclose
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight

from necrostats.errors import StatisticsError
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import aalen_johansen, aalen_johansen_of, kaplan_meier, kaplan_meier_of

quickly = settings(deadline=None, derandomize=True, max_examples=60)
subjects = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 3)), min_size=1, max_size=50).map(
    lambda rows: np.array(rows).T
)
TIME = np.array([5, 8, 8, 12, 12, 12, 20, 31, 31, 40])
CAUSE = np.array([1, 2, 0, 1, 1, 3, 0, 2, 1, 0])


@quickly
@given(rows=subjects)
def test_incidences_and_the_event_free_share_add_up_to_1(rows):
    curves = aalen_johansen(*rows)
    assert_allclose(curves.estimate.sum(axis=1) + curves.event_free, 1, atol=1e-12)


@quickly
@given(rows=subjects)
def test_the_event_free_share_is_kaplan_meier_of_any_cause(rows):
    time, cause = rows
    assert_allclose(aalen_johansen(time, cause).event_free, kaplan_meier(time, cause > 0).estimate, atol=1e-12)


@quickly
@given(rows=subjects)
def test_without_censoring_curves_are_plain_proportions_with_their_binomial_error(rows):
    time, cause = rows[0], rows[1] % 2 + 1
    curves, n = aalen_johansen(time, cause, causes=[1, 2]), time.size
    for c in (1, 2):
        share = np.array([np.mean((cause == c) & (time <= t)) for t in curves.table.time])
        assert_allclose(curves.estimate[0, c - 1], share, atol=1e-12)
        assert_allclose(curves.std_error[0, c - 1] ** 2, share * (1 - share) / n, atol=1e-12)


@quickly
@given(rows=subjects, seed=st.integers(0, 9))
def test_row_order_and_group_labels_change_nothing(rows, seed):
    rng = np.random.default_rng(seed)
    order, group = rng.permutation(rows.shape[1]), rng.integers(0, 2, rows.shape[1])
    one = aalen_johansen(*rows, group=group, groups=[0, 1], causes=[1, 2, 3])
    names = np.array(["first", "second"])[group]
    other = aalen_johansen(*rows[:, order], group=names[order], groups=["first", "second"], causes=list("abc"))
    for part in ("estimate", "std_error", "low", "high", "event_free"):
        assert_allclose(getattr(one, part), getattr(other, part), rtol=1e-12)


@pytest.mark.parametrize("transform", ["log-log", "log", "plain", "logit", "arcsin"])
@quickly
@given(rows=subjects, level=st.floats(0.5, 0.98))
def test_survival_limits_hold_the_curve_and_grow_with_the_level(transform, rows, level):
    time, event = rows[0], rows[1] > 1
    narrow, wide = (kaplan_meier(time, event, level=each, transform=transform) for each in (level, level + 0.01))
    known = narrow.estimate > 0
    assert (wide.low[known] <= narrow.low[known] + 1e-12).all()
    assert (narrow.low[known] <= narrow.estimate[known] + 1e-12).all()
    assert (narrow.estimate[known] <= narrow.high[known] + 1e-12).all()
    assert (narrow.high[known] <= wide.high[known] + 1e-12).all()


@quickly
@given(rows=subjects, level=st.floats(0.5, 0.98))
def test_incidence_limits_hold_the_curve_and_grow_with_the_level(rows, level):
    narrow, wide = (aalen_johansen(*rows, level=each) for each in (level, level + 0.01))
    known = (narrow.estimate > 0) & (narrow.estimate < 1 - 1e-12)
    steps = [wide.low, narrow.low, narrow.estimate, narrow.high, wide.high]
    for lower, upper in pairwise(steps):
        assert (lower[known] <= upper[known] + 1e-12).all()


def test_kaplan_meier_is_that_of_statsmodels_and_lifelines():
    ours, theirs = kaplan_meier(TIME, CAUSE > 0), SurvfuncRight(TIME, CAUSE > 0)
    rows = np.searchsorted(ours.table.time, theirs.surv_times)
    assert_allclose(ours.estimate[0, rows], theirs.surv_prob, rtol=1e-12)
    assert_allclose(ours.std_error[0, rows], theirs.surv_prob_se, rtol=1e-12)
    with np.errstate(all="ignore"):
        lifelines = KaplanMeierFitter().fit(TIME, CAUSE > 0)
    band = lifelines.confidence_interval_.loc[ours.table.time[:-1]].to_numpy()
    assert_allclose(np.stack([ours.low[0, :-1], ours.high[0, :-1]], axis=1), band, rtol=1e-9)


def test_incidence_is_that_of_statsmodels():
    ours, theirs = aalen_johansen(TIME, CAUSE), CumIncidenceRight(TIME, CAUSE)
    rows = np.searchsorted(ours.table.time, theirs.times)
    for cause in range(3):
        assert_allclose(ours.estimate[0, cause, rows], theirs.cinc[cause], atol=1e-12)


def test_a_patient_who_dies_unresolved_is_a_competing_event_and_not_censored():
    """Four subjects: a death on day 1, then resolutions. Incidence of resolution ends at 3/4, not at 1."""
    competing = aalen_johansen([1, 2, 3, 4], [2, 1, 1, 1])
    assert_allclose(competing.estimate[0, 0, -1], 0.75)
    assert kaplan_meier([1, 2, 3, 4], [0, 1, 1, 1]).estimate[0, -1] == 0


def test_an_event_comes_before_a_censoring_on_the_same_day():
    assert_allclose(kaplan_meier([7, 7], [1, 0]).estimate, [[0.5]])


def test_an_event_on_day_0_counts():
    assert_allclose(kaplan_meier([0, 5], [1, 0]).estimate, [[0.5, 0.5]])


def test_all_censored_stays_at_1_with_limits_at_1():
    curve = kaplan_meier([3, 5], [0, 0])
    assert curve.estimate.tolist() == curve.low.tolist() == curve.high.tolist() == [[1, 1]]
    assert curve.std_error.tolist() == [[0, 0]]


def test_at_0_the_error_and_limits_are_undefined():
    curve = kaplan_meier([4], [1])
    assert curve.estimate.tolist() == [[0]]
    assert np.isnan([curve.std_error, curve.low, curve.high]).all()


def test_where_nothing_of_a_cause_has_happened_its_limits_are_undefined():
    curves = aalen_johansen([1, 2], [1, 0], causes=["a", "b"])
    assert curves.estimate[0, 1].tolist() == [0, 0] and curves.std_error[0, 1].tolist() == [0, 0]
    assert np.isnan(curves.low[0, 1]).all() and np.isnan(curves.high[0, 1]).all()


def test_all_at_the_same_time_with_one_cause_ends_at_1_with_error_0():
    curves = aalen_johansen([2, 2, 2], [1, 1, 1])
    assert (curves.estimate.item(), curves.std_error.item(), curves.event_free.item()) == (1, 0, 0)


def test_a_curve_stops_where_its_group_was_last_observed_unless_it_had_ended():
    curves = aalen_johansen([1, 2, 5, 9], [1, 0, 1, 1], group=list("aabb"))
    assert np.isnan(curves.estimate[0, 0, 2:]).all() and np.isnan(curves.event_free[0, 2:]).all()
    over = kaplan_meier([1, 5, 9], [1, 1, 0], group=list("abb"))
    assert over.estimate[0].tolist() == [0, 0, 0]


def test_an_empty_group_has_no_curve_and_nobody_has_none_either():
    curve = kaplan_meier([1, 2], [1, 0], group=["a", "a"], groups=["a", "b"])
    assert np.isnan(curve.estimate[1]).all() and curve.table.at_risk[1].tolist() == [0, 0]
    assert aalen_johansen([], [], causes=[1, 2]).estimate.shape == (1, 2, 0)


def test_a_risk_set_that_empties_before_others_enter_gets_a_note():
    curve = kaplan_meier([2, 9, 9], [1, 1, 0], entry=[0, 5, 5])
    assert [note.code for note in curve.notes] == ["SMALL_RISK_SET"] and "by time 2" in curve.notes[0].text
    assert kaplan_meier([2, 9, 9], [1, 1, 0]).notes == ()


def test_curves_from_counts_are_the_curves_from_rows():
    table = event_table(TIME[:6], CAUSE[:6], causes=[1, 2, 3]) + event_table(TIME[6:], CAUSE[6:], causes=[1, 2, 3])
    assert_allclose(aalen_johansen_of(table).std_error, aalen_johansen(TIME, CAUSE).std_error)
    assert_allclose(kaplan_meier_of(table).low, kaplan_meier(TIME, CAUSE > 0).low)


def test_a_cause_is_no_event_and_a_level_of_95_no_level():
    with pytest.raises(StatisticsError, match="aalen_johansen"):
        kaplan_meier([1, 2], [1, 2])
    with pytest.raises(StatisticsError, match="level"):
        aalen_johansen([1, 2], [1, 2], level=95)
