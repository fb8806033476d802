"""Rows that become several."""

from __future__ import annotations

import numpy as np

from necrostats.registry.export.spreading import spread


def test_each_row_stands_as_often_as_it_counts_and_knows_its_place():
    lines = spread(np.array([2, 0, 3]))
    assert lines.row.tolist() == [0, 0, 2, 2, 2]
    assert lines.rank.tolist() == [0, 1, 0, 1, 2]


def test_nothing_becomes_nothing():
    assert spread(np.array([0, 0])).row.size == 0
