from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from necrostats.errors import StatisticsError
from necrostats.stats.curve_terms import Subjects, area_terms, height_terms, row_influence
from necrostats.stats.incidence import aalen_johansen, kaplan_meier


def _rows(seed):
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(30) < 0.4, rng.integers(0, 6, 30), 0)
    group = rng.permutation(np.repeat(["a", "b"], 15))
    return entry + rng.integers(1, 12, 30), rng.integers(0, 3, 30), entry, group


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("terms", [area_terms, height_terms])
@pytest.mark.parametrize("kind", [kaplan_meier, aalen_johansen])
def test_the_influence_of_a_row_is_how_the_figure_moves_when_it_counts_a_little_more(seed, terms, kind):
    time, cause, entry, group = _rows(seed)
    cause = (cause > 0).astype(int) if kind is kaplan_meier else cause

    def value(weights):
        return terms(kind(time, cause, entry=entry, group=group, weights=weights), 8).value

    rows = Subjects(time=time, cause=cause, entry=entry, group=group, cluster=np.arange(30))
    found = row_influence(terms(kind(time, cause, entry=entry, group=group), 8), rows)
    for row in range(0, 30, 3):
        nudge = np.zeros(30)
        nudge[row] = 1e-5
        moved = (value(1 + nudge) - value(1 - nudge)) / 2e-5
        assert_allclose(found[row], moved.sum(axis=0), atol=1e-8)  # only its own group moves


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ({"time": [1, 2], "cause": [1], "cluster": [1, 2]}, "line up"),
        ({"time": [1, 2], "cause": [1, 0], "cluster": [1, 2], "group": ["a", "z"]}, "group number 2: z is not a group"),
    ],
)
def test_rows_that_do_not_fit_the_curve_are_refused(rows, words):
    curve = kaplan_meier([1, 2], [1, 0], group=["a", "b"])
    with pytest.raises(StatisticsError, match=words):
        row_influence(area_terms(curve, 2), Subjects(**rows))


def test_rows_are_numbered_by_cluster_and_by_the_groups_of_a_curve():
    rows = Subjects(time=[1, 2, 3], cause=[0, 1, 2], cluster=["p2", "p1", "p2"], group=["b", "a", "b"])
    assert_array_equal(rows.clusters, [1, 0, 1])
    assert_array_equal(rows.groups_among(np.array(["a", "b", "c"])), [1, 0, 1])
    assert_array_equal(rows.shares, [1, 1, 1])


def test_columns_must_be_equally_long_and_clusters_known():
    with pytest.raises(StatisticsError, match="line up"):
        Subjects(time=[1, 2], cause=[0, 1], cluster=[1])
    with pytest.raises(StatisticsError, match="cluster number 2"):
        _ = Subjects(time=[1, 2], cause=[0, 1], cluster=["a", None]).clusters
