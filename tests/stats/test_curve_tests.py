from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats
from statsmodels.duration.survfunc import survdiff

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.curve_tests import Scores, chi_squared_of, gray_test, log_rank, tables_by_stratum

GROUPS = np.array(["a", "b", "c"])


def _scores(covariance, gap=(2.0, -1.0, -1.0)):
    expected = np.array([5.0, 5.0, 5.0])
    return Scores(observed=expected + gap, expected=expected, covariance=np.array(covariance, dtype=float))


def test_the_quadratic_form_worked_by_hand():
    """Gaps 2 and −1, covariance [[2, −1], [−1, 2]]: its inverse is [[2, 1], [1, 2]] / 3, so χ² = (8 − 4 + 2) / 3."""
    covariance = [[2, -1, -1], [-1, 2, -1], [-1, -1, 2]]
    found = chi_squared_of("test", GROUPS, _scores(covariance), np.ones(3, dtype=bool), 15.0)
    assert_allclose([found.statistic, found.p_value], [2, stats.chi2.sf(2, 2)])
    assert found.degrees_of_freedom == 2 and found.notes == ()


def test_a_covariance_of_lower_rank_takes_fewer_degrees_of_freedom():
    found = chi_squared_of("test", GROUPS, _scores(np.diag([2, 0, 0]), gap=(2, 0, -2)), np.ones(3, dtype=bool), 15.0)
    assert_allclose(found.statistic, 2)
    assert found.degrees_of_freedom == 1


def test_scores_add_up_over_strata():
    both = _scores(np.eye(3)) + _scores(2 * np.eye(3))
    assert_allclose(both.covariance, 3 * np.eye(3))
    assert_allclose(both.observed - both.expected, [4, -2, -2])


def test_every_stratum_has_a_table_with_all_groups_and_causes():
    tables = tables_by_stratum(
        [1, 2, 3], [1, 2, 0], group=["a", "b", "a"], groups=None, strata=["x", "y", "x"], entry=[0, 1, 0]
    )
    assert len(tables) == 2
    for each in tables:
        assert_array_equal(each.groups, ["a", "b"])
        assert_array_equal(each.causes, [1, 2])


quickly = settings(deadline=None, derandomize=True, max_examples=40)


def _series(seed, n=60, groups=3):
    rng = np.random.default_rng(seed)
    return rng.integers(1, 15, n), rng.integers(0, 3, n), rng.integers(0, groups, n), rng.integers(0, 2, n)


def test_four_subjects_worked_by_hand():
    """Events 1 (a), 2 (b), 3 (a), 4 (b), no other causes, none censored: fair shares of a ½, ⅓, ½, 0 as by log-rank.

    With all events of one cause and none censored, 1 − F = S in each group, so the fair share of a is that of its
    number at risk: 2/4, 1/3, 1/2, 0/1 and the score of a is 2 − 4/3 = ⅔.
    """
    found = gray_test([1, 2, 3, 4], [1] * 4, group=list("abab"))
    assert_allclose(found.observed - found.expected, [2 / 3, -2 / 3])


@quickly
@given(seed=st.integers(0, 500), rho=st.sampled_from([0.0, 1.0]))
def test_row_order_and_labels_change_nothing_and_scores_add_up_to_nothing(seed, rho):
    time, cause, group, strata = _series(seed)
    order = np.random.default_rng(seed).permutation(time.size)
    found = gray_test(time, cause, group=group, strata=strata, rho=rho)
    names = np.array(list("zyx"))[group]
    other = gray_test(time[order], cause[order], group=names[order], strata=strata[order] == 0, rho=rho)
    assert_allclose(other.statistic, found.statistic)
    assert_allclose(found.observed.sum(), found.expected.sum())
    assert found.degrees_of_freedom == 2


def test_with_no_effect_5_in_100_are_below_one_in_twenty():
    tests = [gray_test(*series[:2], group=series[2]) for series in (_series(seed, n=150) for seed in range(300))]
    assert 6 <= sum(found.p_value < 0.05 for found in tests) <= 25


def test_a_cause_by_name_and_one_that_is_not_there():
    time, cause, group, _ = _series(3)
    named = gray_test(time, cause, group=group, of="death", causes=["resolved", "death"])
    assert_allclose(named.statistic, gray_test(time, cause, group=group, of=2).statistic)
    with pytest.raises(ChoiceError, match='"deaht" is not a known cause'):
        gray_test(time, cause, group=group, of="deaht", causes=["resolved", "death"])


@pytest.mark.parametrize(
    ("time", "cause", "group", "groups", "code"),
    [
        ([], [], [], ["a", "b"], "ZERO_EVENTS"),
        ([5, 6], [2, 2], ["a", "b"], None, "ZERO_EVENTS"),
        ([5, 6], [1, 1], ["a", "a"], ["a", "b"], "SMALL_N"),
        ([5], [1], ["a"], None, "SMALL_N"),
    ],
)
def test_where_nothing_can_be_tested_there_is_a_note(time, cause, group, groups, code):
    found = gray_test(time, cause, group=group, groups=groups, causes=[1, 2])
    assert np.isnan([found.statistic, found.p_value]).all()
    assert [note.code for note in found.notes] == [code]


def test_a_group_that_lost_everybody_to_other_causes_first_still_gives_an_answer():
    found = gray_test([1, 1, 5, 6, 7], [2, 2, 1, 1, 0], group=list("aabbb"), causes=[1, 2])
    assert np.isnan(found.statistic) and found.notes


def test_all_at_the_same_time():
    found = gray_test([4] * 6, [1, 2, 0, 1, 1, 0], group=list("aaabbb"))
    assert found.degrees_of_freedom == 1 and 0 < found.p_value < 1


def _series_log_rank(seed, n=60, groups=3):
    rng = np.random.default_rng(seed)
    return rng.integers(1, 15, n), rng.integers(0, 2, n), rng.integers(0, groups, n), rng.integers(0, 2, n)


def test_four_subjects_worked_by_hand_log_rank():
    """a: events at 1 and 2; b: events at 3 and 4. Expected in a: ½ + ⅓; variance ¼ + 2/9; χ² = (7/6)² / (17/36)."""
    found = log_rank([1, 2, 3, 4], [1] * 4, group=list("aabb"))
    assert_allclose(found.observed, [2, 2])
    assert_allclose(found.expected, [5 / 6, 19 / 6])
    assert_allclose(found.statistic, 49 / 17)
    assert found.degrees_of_freedom == 1


@quickly
@given(seed=st.integers(0, 500), rho=st.sampled_from([0.0, 1.0]))
def test_it_is_the_test_of_statsmodels(seed, rho):
    time, event, group, strata = _series_log_rank(seed)
    kind = {"weight_type": "fh", "fh_p": rho} if rho else {}
    for where in (None, strata):
        with np.errstate(divide="ignore"):  # theirs takes the logarithm of a curve that reaches 0
            theirs, p = survdiff(time, event, group, strata=where, **kind)
        found = log_rank(time, event, group=group, strata=where, rho=rho)
        assert_allclose([found.statistic, found.p_value], [theirs, p], rtol=1e-8)


@quickly
@given(seed=st.integers(0, 500))
def test_row_order_and_labels_change_nothing_and_what_is_seen_equals_what_is_expected(seed):
    time, event, group, strata = _series_log_rank(seed)
    order = np.random.default_rng(seed).permutation(time.size)
    found = log_rank(time, event, group=group, strata=strata)
    other = log_rank(time[order], event[order], group=np.array(list("zyx"))[group][order], strata=strata[order] == 0)
    assert_allclose(other.statistic, found.statistic)
    assert_allclose(found.observed.sum(), found.expected.sum())


def test_late_entry_leaves_a_subject_out_of_the_earlier_risk_sets_worked_by_hand():
    """b's second subject enters after 1: at 1 one of two at risk is a; at 2 (a) one of three; at 3, 4 only b."""
    found = log_rank([1, 2, 3, 4], [1] * 4, group=list("aabb"), entry=[0, 0, 0, 1])
    assert_allclose(found.expected[0], 2 / 3 + 1 / 3)


def test_a_p_value_too_small_for_one_minus_the_rest_is_still_there():
    time = np.repeat([1, 2], 300) + np.tile(np.arange(100), 6) / 1000
    found = log_rank(time, np.ones(600), group=np.repeat(["a", "b"], 300))
    assert 0 < found.p_value < 1e-100


@pytest.mark.parametrize(
    ("time", "event", "group", "groups", "code"),
    [
        ([], [], [], ["a", "b"], "ZERO_EVENTS"),
        ([5, 6], [0, 0], ["a", "b"], None, "ZERO_EVENTS"),
        ([5, 6], [1, 1], ["a", "a"], ["a", "b"], "SMALL_N"),
        ([5], [1], ["a"], None, "SMALL_N"),
        ([5, 5], [1, 1], ["a", "b"], None, "NO_OVERLAP"),
        ([1, 2, 3], [0, 1, 1], list("abb"), None, "SMALL_N"),
    ],
)
def test_where_nothing_can_be_tested_there_is_a_note_log_rank(time, event, group, groups, code):
    found = log_rank(time, event, group=group, groups=groups)
    assert np.isnan([found.statistic, found.p_value]).all() and found.degrees_of_freedom == 0
    assert [note.code for note in found.notes] == [code]


def test_an_empty_group_is_left_out_of_the_rest_with_a_note():
    time, event, group, _ = _series_log_rank(1, groups=2)
    with_it = log_rank(time, event, group=group, groups=[0, 1, 2])
    assert with_it.degrees_of_freedom == 1 and "Left out of the test" in with_it.notes[0].text
    assert_allclose(with_it.statistic, log_rank(time, event, group=group).statistic)


def test_groups_never_at_risk_together_cannot_be_compared():
    found = log_rank([2, 3, 12, 13], [1] * 4, group=list("aabb"), entry=[0, 0, 5, 5])
    assert np.isnan(found.statistic) and [note.code for note in found.notes] == ["NO_OVERLAP"]


def test_columns_of_unequal_length_are_refused():
    with pytest.raises(StatisticsError, match="line up"):
        log_rank([1, 2], [1, 1], group=["a"])
