from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError
from necrostats.stats.gray import gray_test

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
