from __future__ import annotations

import numpy as np

from necrostats.stats.clusters import few_clusters, notes_on, places


def test_nineteen_clusters_are_few_and_twenty_are_not():
    assert [note.code for note in few_clusters(19)] == ["FEW_CLUSTERS"]
    assert few_clusters(20) == ()


def test_labels_of_any_kind_find_their_place():
    assert places(np.array(["b", "a", "b"])).tolist() == [1, 0, 1]
    assert places(np.array(["b", 3, "b"], dtype=object)).tolist() == [1, 0, 1]


def test_notes_say_whether_clusters_are_few_only_one_or_enough():
    assert [notes_on(count) for count in (0, 20)] == [(), ()]
    assert "Only 5 clusters" in notes_on(5)[0].text
    assert "one cluster" in notes_on(1)[0].text
