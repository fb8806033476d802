from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import ChoiceError
from necrostats.stats.differences import difference_at, heights
from necrostats.stats.group_figures import ratio
from necrostats.stats.incidence import aalen_johansen, at, kaplan_meier
from necrostats.stats.subjects import Subjects

quickly = settings(deadline=None, derandomize=True, max_examples=40)
subjects = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 2)), min_size=4, max_size=40).map(
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
@given(rows=subjects, day=st.integers(0, 12))
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
@given(rows=subjects, day=st.integers(0, 12), seed=st.integers(0, 99))
def test_errors_by_cluster_are_those_of_the_clustered_curve(rows, day, seed):
    time, cause = rows
    patient = np.random.default_rng(seed).integers(0, 10, time.size)
    curve = aalen_johansen(time, cause, causes=[1, 2], cluster=patient)
    found = heights(curve, day, subjects=Subjects(time=time, cause=cause, cluster=patient))
    assert_allclose(found.std_error, at(curve, day).std_error[..., 0], atol=1e-9)


@quickly
@given(rows=subjects)
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
