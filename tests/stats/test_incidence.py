from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from numpy.testing import assert_allclose
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight

from builders.outside_values import data, numbers, values
from necrostats.errors import StatisticsError
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import (
    aalen_johansen,
    aalen_johansen_of,
    event_free,
    follow_up,
    incidence_shares,
    just_before,
    kaplan_meier,
    kaplan_meier_of,
)

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


def test_four_subjects_worked_by_hand():
    """Cause 1 at 1, a censoring at 2, cause 2 at 3, cause 1 at 4: S ¾, ¾, ⅜, 0; F₁ ¼, ¼, ¼, ⅝."""
    table = event_table([1, 2, 3, 4], [1, 0, 2, 1])
    free = event_free(table)
    assert_allclose(free, [[3 / 4, 3 / 4, 3 / 8, 0]])
    assert_allclose(just_before(free), [[1, 3 / 4, 3 / 4, 3 / 8]])
    assert_allclose(incidence_shares(table, free)[0], [[1 / 4, 1 / 4, 1 / 4, 5 / 8], [0, 0, 3 / 8, 3 / 8]])


@settings(deadline=None, derandomize=True, max_examples=40)
@given(rows=st.lists(st.tuples(st.integers(0, 9), st.integers(0, 3)), min_size=1, max_size=30))
def test_shares_with_an_event_of_each_cause_and_without_any_add_up_to_1(rows):
    table = event_table(*np.array(rows).T)
    free = event_free(table)
    assert_allclose(free + incidence_shares(table, free).sum(axis=1), 1)


quickly_influence = settings(deadline=None, derandomize=True, max_examples=40)
subjects_influence = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 2)), min_size=2, max_size=40).map(
    lambda rows: np.array(rows).T
)


@quickly_influence
@given(rows=subjects_influence)
def test_with_a_cluster_for_every_row_the_error_is_the_plain_one(rows):
    time, cause = rows
    each = np.arange(time.size)
    plain, clustered = (aalen_johansen(time, cause, cluster=label) for label in (None, each))
    assert_allclose(clustered.std_error**2, plain.std_error**2, atol=1e-12)
    plain, clustered = (kaplan_meier(time, cause > 0, cluster=label) for label in (None, each))
    assert_allclose(clustered.std_error, plain.std_error, atol=1e-9)


@quickly_influence
@given(rows=subjects_influence)
def test_every_row_twice_in_its_cluster_gives_the_error_of_the_rows_once(rows):
    once = aalen_johansen(*rows, cluster=np.arange(rows.shape[1]))
    twice = aalen_johansen(*np.tile(rows, 2), cluster=np.tile(np.arange(rows.shape[1]), 2))
    assert_allclose(twice.std_error, once.std_error, atol=1e-12)


def test_groups_are_clustered_each_by_itself_and_few_clusters_get_a_note():
    time, cause, group, patient = [1, 2, 3, 4, 5], [1, 0, 2, 1, 1], list("aaabb"), [1, 1, 2, 3, 4]
    both = aalen_johansen(time, cause, group=group, cluster=patient)
    alone = aalen_johansen(time[:3], cause[:3], cluster=patient[:3], causes=[1, 2])
    assert_allclose(both.std_error[0, :, :3], alone.std_error[0])
    assert [note.code for note in both.notes] == ["FEW_CLUSTERS"] and "Only 2" in both.notes[0].text


def test_two_patients_worked_by_hand():
    """Patient A: events on day 1 and 1; B: two censored on day 2. S = 1/2; influence of A −½·1, of B ½·1: √½."""
    curve = kaplan_meier([1, 1, 2, 2], [1, 1, 0, 0], cluster=list("AABB"))
    assert_allclose(curve.std_error[0], [np.sqrt(2) / 4, np.sqrt(2) / 4])


def test_a_label_for_every_row_is_needed():
    with pytest.raises(StatisticsError, match="line up"):
        kaplan_meier([1, 2], [1, 0], cluster=["a"])
    with pytest.raises(StatisticsError, match="cluster number 2"):
        kaplan_meier([1, 2], [1, 0], cluster=["a", None])


def test_it_is_the_median_of_r_with_events_and_censorings_exchanged():
    patients = data("sim_patients")
    expected = values("r_survival")["km.sim_pat_reverseKM_followup.log-log.quantiles"]["value"]
    found = follow_up(patients.days, patients.status)
    listed = [numbers(expected[name])[1] for name in ("quantile", "lower", "upper")]
    assert_allclose([found.estimate[0], found.low[0], found.high[0]], listed)


def test_an_early_death_does_not_shorten_follow_up_worked_by_hand():
    """Ends of follow-up at 10, 20, 30; a death at day 1 leaves: 1 → 2/3 → 1/3, so the median is 20."""
    assert follow_up([10, 20, 30, 1], [0, 0, 0, 2]).estimate[0] == 20


@settings(deadline=None, derandomize=True, max_examples=40)
@given(time=st.lists(st.integers(0, 20), min_size=1, max_size=20))
def test_without_events_it_is_the_plain_median(time):
    assert follow_up(time, np.zeros(len(time), int)).estimate[0] == np.median(time)


def test_everybody_with_an_event_has_no_median_follow_up_and_says_so():
    found = follow_up([3, 5], [1, 2], group=["a", "b"])
    assert np.isnan(found.estimate).all() and [note.code for note in found.notes] == ["NOT_REACHED"]
