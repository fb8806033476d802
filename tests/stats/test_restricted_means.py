from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special, stats

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.curve_terms import Subjects
from necrostats.stats.incidence import aalen_johansen, at, kaplan_meier
from necrostats.stats.restricted_means import difference, difference_at, figures_of, heights, ratio, restricted_mean

quickly = settings(deadline=None, derandomize=True, max_examples=40)
subjects = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 2)), min_size=2, max_size=40).map(
    lambda rows: np.array(rows).T
)


def test_four_subjects_worked_by_hand():
    """Ends 1, 2, 3, 4, none censored: mean 2.5, variance (1.5² + .5² + .5² + 1.5²) / 4² = .3125."""
    found = restricted_mean(kaplan_meier([1, 2, 3, 4], [1] * 4), 4)
    assert_allclose([found.estimate[0], found.std_error[0] ** 2], [2.5, 0.3125])
    half = stats.t.ppf(0.975, 3) * np.sqrt(0.3125) / (4 * 0.625 * 0.375)
    expected = 4 * special.expit(special.logit(0.625) + half * np.array([-1, 1]))
    assert_allclose([found.low[0], found.high[0]], expected)


def test_sessions_up_to_three_worked_by_hand():
    """Resolved after 0, 1, 1, 2 sessions, one needing more after 3: up to 3 sessions, 0 + 1 + 1 + 2 + 3 = 7 by 5."""
    found = restricted_mean(kaplan_meier([0, 1, 1, 2, 3], [1, 1, 1, 1, 0]), 3)
    assert_allclose(found.estimate[0], 7 / 5)


@quickly
@given(time=st.lists(st.integers(0, 20), min_size=1, max_size=30), tau=st.integers(1, 20), seed=st.integers(0, 99))
def test_without_censoring_it_is_the_plain_mean_with_its_error(time, tau, seed):
    time = np.array(time)
    cause = np.random.default_rng(seed).integers(1, 3, time.size)
    free = restricted_mean(kaplan_meier(time, cause > 0), tau)
    lost = restricted_mean(aalen_johansen(time, cause, causes=[1, 2]), tau)
    amounts = [np.minimum(time, tau), *(np.maximum(tau - time, 0) * (cause == each) for each in (1, 2))]
    assert_allclose(np.append(free.estimate, lost.estimate), [each.mean() for each in amounts], atol=1e-12)
    errors = [each.std() / np.sqrt(time.size) for each in amounts]
    assert_allclose(np.append(free.std_error, lost.std_error), errors, atol=1e-6)


@quickly
@given(rows=subjects)
def test_time_free_of_events_and_time_lost_to_each_cause_add_up_to_tau(rows):
    time, cause = rows
    tau = max(int(time.max()), 1)
    free = restricted_mean(kaplan_meier(time, cause > 0), tau)
    lost = restricted_mean(aalen_johansen(time, cause), tau)
    assert_allclose(free.estimate + lost.estimate.sum(axis=1), tau)


@quickly
@given(rows=subjects, seed=st.integers(0, 99))
def test_errors_by_cluster_are_plain_where_every_row_is_its_own_and_the_same_for_rows_doubled(rows, seed):
    time, cause = rows
    each, tau = np.random.default_rng(seed).permutation(time.size), max(int(time.max()), 1)
    curve = aalen_johansen(time, cause, causes=[1, 2])
    plain = restricted_mean(curve, tau)
    own = restricted_mean(curve, tau, subjects=Subjects(time=time, cause=cause, cluster=each))
    assert_allclose(own.covariance, plain.covariance, atol=1e-12)
    twice = aalen_johansen(np.tile(time, 2), np.tile(cause, 2), causes=[1, 2])
    rows = Subjects(time=np.tile(time, 2), cause=np.tile(cause, 2), cluster=np.tile(each, 2))
    doubled = restricted_mean(twice, tau, subjects=rows)
    assert_allclose(doubled.covariance, plain.covariance, atol=1e-12)


def test_a_patient_with_a_row_in_both_groups_ties_their_figures_together():
    time, cause, group, patient = [3, 5, 8, 3, 5, 8], [1, 1, 0] * 2, list("aaabbb"), [1, 2, 3] * 2
    curve = kaplan_meier(time, cause, group=group)
    rows = Subjects(time=time, cause=cause, group=group, cluster=patient)
    alike = difference(restricted_mean(curve, 8, subjects=rows), "a", "b")
    assert alike.estimate == 0 and np.isnan(alike.std_error)
    assert "ZERO_EVENTS" in [note.code for note in alike.notes]
    apart = difference(restricted_mean(curve, 8), "a", "b")
    assert apart.std_error > 0 and apart.p_value == 1


def test_a_group_last_seen_before_tau_has_none_and_says_so():
    curve = kaplan_meier([5, 9, 3, 4], [1, 0, 1, 1], group=list("aabb"), groups=["a", "b", "c"])
    found = restricted_mean(curve, 20)
    assert np.isnan(found.estimate[[0, 2]]).all() and np.isnan(found.low[0])
    assert found.estimate[1] == 3.5  # all had the event, so nothing later is unknown
    assert [note.code for note in found.notes] == ["NOT_MATURED", "SMALL_N"]
    assert "a was last observed at 9, before 20" in found.notes[0].text
    gap = difference(found, "a", "b")
    assert np.isnan([gap.estimate, gap.p_value]).all() and gap.notes


def test_in_whole_days_being_seen_the_day_before_is_enough():
    assert restricted_mean(kaplan_meier([5, 9], [1, 0]), 10).estimate[0] == 7.5
    assert np.isnan(restricted_mean(kaplan_meier([5.5, 9], [1, 0]), 10).estimate[0])


def test_nobody_at_all_no_events_and_all_at_once():
    nobody = restricted_mean(kaplan_meier([], []), 10)
    assert np.isnan(nobody.estimate).all() and nobody.notes[0].code == "SMALL_N"
    without = restricted_mean(kaplan_meier([12, 15], [0, 0]), 10)
    assert without.estimate[0] == 10 and without.std_error[0] == 0 and np.isnan(without.low[0])
    at_once = restricted_mean(kaplan_meier([4, 4], [1, 1]), 10)
    assert at_once.estimate[0] == 4


@pytest.mark.parametrize("tau", [0, -3, np.nan])
def test_a_time_that_is_not_after_the_start_is_refused(tau):
    with pytest.raises(StatisticsError, match="tau"):
        restricted_mean(kaplan_meier([1], [1]), tau)


def test_a_group_within_one_cluster_has_a_mean_but_no_error():
    time, cause, group = [1, 2, 3, 1, 2, 5], [1, 1, 1, 1, 0, 1], list("aaabbb")
    rows = Subjects(time=time, cause=cause, group=group, cluster=[1, 1, 1, 2, 3, 4])
    figures = restricted_mean(kaplan_meier(time, cause, group=group), 4, subjects=rows)
    assert figures.estimate[0] == 2 and np.isnan([figures.std_error[0], figures.low[0]]).all()
    assert np.isfinite(figures.std_error[1])
    gap = difference(figures, "a", "b")
    assert np.isfinite(gap.estimate) and np.isnan(gap.p_value)
    assert [note.code for note in gap.notes] == ["FEW_CLUSTERS"] and "one cluster" in gap.notes[0].text


subjects_differences = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 2)), min_size=4, max_size=40).map(
    lambda rows: np.array(rows).T
)


def test_two_groups_without_censoring_worked_by_hand():
    """By day 5 events in 3 of 4 and 1 of 4: difference ½, variance 3/64 + 3/64 = .09375."""
    curve = kaplan_meier([1, 2, 3, 9, 4, 9, 9, 9], [1] * 8, group=list("aaaabbbb"))
    found = difference_at(curve, 5, "a", "b")
    error = np.sqrt(0.09375)
    assert_allclose([found.estimate, found.std_error, found.statistic], [-0.5, error, -0.5 / error])
    assert_allclose(found.p_value, 2 * stats.norm.sf(0.5 / error))
    assert_allclose([found.low, found.high], [-1, -0.5 + 1.959963984540054 * error])  # −.5 − .600 stops at −1


@quickly
@given(rows=subjects_differences, day=st.integers(0, 12))
def test_heights_and_errors_are_those_of_the_curve(rows, day):
    time, cause = rows
    for curve in (aalen_johansen(time, cause, causes=[1, 2]), kaplan_meier(time, cause > 0)):
        seen, found = at(curve, day), heights(curve, day)
        for part in ("estimate", "low", "high"):
            ours, theirs = (np.where(found.estimate == each, np.nan, getattr(found, part)) for each in (0, 1))
            theirs = getattr(seen, part)[..., 0]
            inside = (found.estimate > 1e-12) & (found.estimate < 1 - 1e-12)
            assert_allclose(ours[inside], theirs[inside], atol=1e-7)
        assert_allclose(found.std_error[found.estimate > 0], seen.std_error[..., 0][found.estimate > 0], atol=1e-7)


@quickly
@given(rows=subjects_differences, day=st.integers(0, 12), seed=st.integers(0, 99))
def test_errors_by_cluster_are_those_of_the_clustered_curve(rows, day, seed):
    time, cause = rows
    patient = np.random.default_rng(seed).integers(0, 10, time.size)
    curve = aalen_johansen(time, cause, causes=[1, 2], cluster=patient)
    found = heights(curve, day, subjects=Subjects(time=time, cause=cause, cluster=patient))
    assert_allclose(found.std_error, at(curve, day).std_error[..., 0], atol=1e-9)


@quickly
@given(rows=subjects_differences)
def test_swapping_the_groups_turns_the_difference_round(rows):
    time, cause = rows
    group = np.arange(time.size) % 2
    curve = aalen_johansen(time, cause, group=group, causes=[1, 2])
    one, two = difference_at(curve, 6, 0, 1), difference_at(curve, 6, 1, 0)
    assert_allclose([one.estimate, one.low, one.high], [-two.estimate, -two.high, -two.low])
    assert_allclose(one.p_value, two.p_value)


def test_a_group_no_longer_observed_and_a_group_with_nobody():
    curve = kaplan_meier([2, 3, 9, 9], [1, 0, 1, 0], group=list("aabb"), groups=["a", "b", "c"])
    found = heights(curve, 5)
    assert np.isnan(found.estimate[[0, 2]]).all() and found.estimate[1] == 1
    assert [note.code for note in found.notes] == ["NOT_MATURED", "SMALL_N"]
    gap = difference_at(curve, 5, "a", "b")
    assert np.isnan(gap.estimate) and gap.notes


def test_no_events_in_either_group():
    gap = difference_at(kaplan_meier([8, 8], [0, 0], group=["a", "b"]), 5, "a", "b")
    assert gap.estimate == 0 and np.isnan([gap.low, gap.p_value]).all()
    assert [note.code for note in gap.notes] == ["ZERO_EVENTS"]


def test_a_ratio_with_nothing_to_divide_by():
    curve = aalen_johansen([1, 8, 8, 8], [1, 0, 0, 0], group=list("aabb"))
    share = ratio(heights(curve, 5), "a", "b")
    assert np.isnan(share.estimate).all() and "no ratio" in share.notes[0].text


def test_a_group_that_is_not_there_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match='"plastic" is not a known group'):
        difference_at(kaplan_meier([8, 8], [0, 0], group=["a", "b"]), 5, "plastic", "b")


@pytest.mark.parametrize("n", range(2, 40))
def test_where_everybody_has_had_the_event_there_are_no_limits_whatever_rounding_leaves(n):
    """1 − 10⁻¹⁶ is no share with limits from 1 to 1."""
    found = heights(aalen_johansen(np.arange(1, n + 1), np.ones(n, dtype=int)), n)
    assert_allclose(found.estimate, 1)
    assert np.isnan([found.low, found.high]).all()


def _figures(covariance, estimate=(10.0, 4.0), level=0.95):
    return figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=level,
        largest=30.0,
        estimate=np.array(estimate),
        covariance=np.array(covariance, dtype=float),
        subjects=np.array([1000, 1000]),
    )


def test_difference_and_ratio_worked_by_hand():
    """10 and 4 with variances 4 and 1: difference 6, error √5; log ratio ln 2.5, error √(4/100 + 1/16)."""
    figures = _figures([[4, 0], [0, 1]])
    gap = difference(figures, "a", "b")
    assert_allclose([gap.estimate, gap.std_error, gap.statistic], [6, np.sqrt(5), 6 / np.sqrt(5)])
    assert_allclose([gap.p_value, gap.high], [2 * stats.norm.sf(6 / np.sqrt(5)), 6 + 1.959963984540054 * np.sqrt(5)])
    share = ratio(figures, "a", "b")
    assert_allclose([share.estimate, share.std_error], [2.5, np.sqrt(0.04 + 1 / 16)])
    assert_allclose(share.low * share.high, 2.5**2)


def test_what_groups_share_comes_off_the_variance():
    assert_allclose(difference(_figures([[4, 1.5], [1.5, 1]]), "a", "b").std_error, np.sqrt(5 - 3))


def test_by_cause_everything_has_one_entry_a_cause():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([[10.0, 3.0], [4.0, 3.0]]),
        covariance=np.array([[[4.0, 0], [0, 1]], [[1.0, 0], [0, 1]]]),
        subjects=np.array([20, 20]),
    )
    gap = difference(figures, "a", "b")
    assert_allclose(gap.estimate, [6, 0])
    assert_allclose(gap.std_error, np.sqrt([5, 2]))
    assert_allclose(figures.std_error, [[2, 1], [1, 1]])
    assert_allclose(gap.p_value[1], 1)


def test_limits_stay_within_what_is_possible_and_grow_with_the_level():
    wide, narrow = (_figures([[400, 0], [0, 1]], level=level) for level in (0.99, 0.9))
    assert 0 <= wide.low[0] < narrow.low[0] and narrow.high[0] < wide.high[0] <= 30
    assert wide.low[1] < narrow.low[1] < 4 < narrow.high[1] < wide.high[1]
    assert difference(wide, "a", "b").low == -30


def test_limits_of_a_small_group_are_by_t_on_the_logit_scale():
    """A mean of 7 in 100 with error 1.58: logit −2.587, error 1.58 / (100 × .07 × .93) = .2429, t on 3: 3.182."""
    values = np.array([3.0, 5.0, 9.0, 11.0])
    found = figures_of(
        measure="mean",
        groups=np.array(["a"]),
        level=0.95,
        largest=100.0,
        estimate=np.array([values.mean()]),
        covariance=np.array([[values.var() / 4]]),
        subjects=np.array([4]),
    )
    half = stats.t.ppf(0.975, 3) * (values.std() / 2) / (100 * 0.07 * 0.93)
    assert_allclose([found.low[0], found.high[0]], 100 * special.expit(special.logit(0.07) + half * np.array([-1, 1])))


def test_a_difference_of_small_groups_is_that_of_welch():
    one, two = np.array([3.0, 5.0, 9.0, 11.0]), np.array([1.0, 2.0, 2.0, 6.0, 9.0, 4.0])
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=100.0,
        estimate=np.array([one.mean(), two.mean()]),
        covariance=np.diag([one.var() / 4, two.var() / 6]),
        subjects=np.array([4, 6]),
    )
    found, known = difference(figures, "a", "b", welch=True), stats.ttest_ind(one, two, equal_var=False)
    assert_allclose([found.statistic, found.p_value], [known.statistic, known.pvalue])
    assert_allclose([found.low, found.high], [*known.confidence_interval()])
    assert (found.test, found.method) == ("Welch's t test", "Welch's t limits")


def test_groups_of_one_have_no_limits_by_welch():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([10.0, 4.0]),
        covariance=np.diag([4.0, 1.0]),
        subjects=np.array([1, 6]),
    )
    assert np.isnan(difference(figures, "a", "b", welch=True).low)


def test_figures_that_do_not_vary_have_no_limits():
    figures = _figures(np.zeros((2, 2)))
    assert np.isnan([figures.low, figures.high]).all()
    gap = difference(figures, "a", "b")
    assert gap.estimate == 6 and np.isnan([gap.low, gap.p_value]).all() and gap.notes[0].code == "ZERO_EVENTS"


def test_a_group_that_is_not_there_and_a_level_that_cannot_be():
    with pytest.raises(ChoiceError, match="Did you mean"):
        difference(_figures(np.eye(2)), "a", "bb")
    with pytest.raises(StatisticsError, match="level"):
        _figures(np.eye(2), level=95)


@pytest.mark.parametrize("contrast", [difference, ratio])
def test_a_group_that_does_not_vary_leaves_a_contrast_without_limits_and_names_itself(contrast):
    """The error of the other group alone would say that nothing is uncertain about this one."""
    figures = _figures([[4, 0], [0, 0]])
    found = contrast(figures, "a", "b")
    assert found.estimate == (6 if contrast is difference else 2.5)
    assert np.isnan([found.low, found.high, found.p_value]).all()
    assert "within group b," in found.notes[0].text
    assert "within group b," in contrast(figures, "b", "a").notes[0].text
    assert "within either group," in contrast(_figures(np.zeros((2, 2))), "a", "b").notes[0].text


def test_one_cause_alone_has_no_note_about_another_that_does_not_vary():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([[10.0, 0.0], [4.0, 0.0]]),
        covariance=np.array([[[4.0, 0], [0, 1]], np.zeros((2, 2))]),
        subjects=np.array([20, 20]),
    )
    both, alone = difference(figures, "a", "b"), difference(figures.of_cause(0), "a", "b")
    assert both.notes and alone.notes == ()
    assert (alone.estimate, alone.low, alone.high) == (both.estimate[0], both.low[0], both.high[0])
    assert_allclose(figures.of_cause(1).high, [np.nan, np.nan])


def test_a_group_of_one_has_no_welch_limits_and_a_note():
    figures = figures_of(
        measure="mean",
        groups=np.array(["a", "b"]),
        level=0.95,
        largest=30.0,
        estimate=np.array([10.0, 4.0]),
        covariance=np.diag([0.0, 1.0]),
        subjects=np.array([1, 6]),
    )
    found = difference(figures, "a", "b", welch=True)
    assert np.isnan(found.low) and [note.code for note in found.notes] == ["ZERO_EVENTS"]
