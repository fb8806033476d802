from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import StatisticsError
from necrostats.stats.incidence import aalen_johansen, kaplan_meier

quickly = settings(deadline=None, derandomize=True, max_examples=40)
subjects = st.lists(st.tuples(st.integers(0, 15), st.integers(0, 2)), min_size=2, max_size=40).map(
    lambda rows: np.array(rows).T
)


@quickly
@given(rows=subjects)
def test_with_a_cluster_for_every_row_the_error_is_the_plain_one(rows):
    time, cause = rows
    each = np.arange(time.size)
    plain, clustered = (aalen_johansen(time, cause, cluster=label) for label in (None, each))
    assert_allclose(clustered.std_error**2, plain.std_error**2, atol=1e-12)
    plain, clustered = (kaplan_meier(time, cause > 0, cluster=label) for label in (None, each))
    assert_allclose(clustered.std_error, plain.std_error, atol=1e-9)


@quickly
@given(rows=subjects)
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
