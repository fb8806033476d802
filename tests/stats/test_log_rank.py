from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from statsmodels.duration.survfunc import survdiff

from necrostats.errors import StatisticsError
from necrostats.stats.log_rank import log_rank

quickly = settings(deadline=None, derandomize=True, max_examples=40)


def _series(seed, n=60, groups=3):
    rng = np.random.default_rng(seed)
    return rng.integers(1, 15, n), rng.integers(0, 2, n), rng.integers(0, groups, n), rng.integers(0, 2, n)


def test_four_subjects_worked_by_hand():
    """a: events at 1 and 2; b: events at 3 and 4. Expected in a: ½ + ⅓; variance ¼ + 2/9; χ² = (7/6)² / (17/36)."""
    found = log_rank([1, 2, 3, 4], [1] * 4, group=list("aabb"))
    assert_allclose(found.observed, [2, 2])
    assert_allclose(found.expected, [5 / 6, 19 / 6])
    assert_allclose(found.statistic, 49 / 17)
    assert found.degrees_of_freedom == 1


@quickly
@given(seed=st.integers(0, 500), rho=st.sampled_from([0.0, 1.0]))
def test_it_is_the_test_of_statsmodels(seed, rho):
    time, event, group, strata = _series(seed)
    kind = {"weight_type": "fh", "fh_p": rho} if rho else {}
    for where in (None, strata):
        with np.errstate(divide="ignore"):  # theirs takes the logarithm of a curve that reaches 0
            theirs, p = survdiff(time, event, group, strata=where, **kind)
        found = log_rank(time, event, group=group, strata=where, rho=rho)
        assert_allclose([found.statistic, found.p_value], [theirs, p], rtol=1e-8)


@quickly
@given(seed=st.integers(0, 500))
def test_row_order_and_labels_change_nothing_and_what_is_seen_equals_what_is_expected(seed):
    time, event, group, strata = _series(seed)
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
def test_where_nothing_can_be_tested_there_is_a_note(time, event, group, groups, code):
    found = log_rank(time, event, group=group, groups=groups)
    assert np.isnan([found.statistic, found.p_value]).all() and found.degrees_of_freedom == 0
    assert [note.code for note in found.notes] == [code]


def test_an_empty_group_is_left_out_of_the_rest_with_a_note():
    time, event, group, _ = _series(1, groups=2)
    with_it = log_rank(time, event, group=group, groups=[0, 1, 2])
    assert with_it.degrees_of_freedom == 1 and "Left out of the test" in with_it.notes[0].text
    assert_allclose(with_it.statistic, log_rank(time, event, group=group).statistic)


def test_groups_never_at_risk_together_cannot_be_compared():
    found = log_rank([2, 3, 12, 13], [1] * 4, group=list("aabb"), entry=[0, 0, 5, 5])
    assert np.isnan(found.statistic) and [note.code for note in found.notes] == ["NO_OVERLAP"]


def test_columns_of_unequal_length_are_refused():
    with pytest.raises(StatisticsError, match="line up"):
        log_rank([1, 2], [1, 1], group=["a"])
