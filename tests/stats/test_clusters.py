from __future__ import annotations

import numpy as np

from necrostats.stats.clusters import few_clusters, places


def test_nineteen_clusters_are_few_and_twenty_are_not():
    assert [note.code for note in few_clusters(19)] == ["FEW_CLUSTERS"]
    assert few_clusters(20) == ()


def test_labels_of_any_kind_find_their_place():
    assert places(np.array(["b", "a", "b"])).tolist() == [1, 0, 1]
    assert places(np.array(["b", 3, "b"], dtype=object)).tolist() == [1, 0, 1]
