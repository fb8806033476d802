from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from necrostats.errors import StatisticsError
from necrostats.stats.subjects import Subjects


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
