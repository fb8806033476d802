"""First rows of groups."""

from __future__ import annotations

import numpy as np

from necrostats.registry.export.firsts import first_rows


def test_the_first_row_of_each_group_and_none_where_there_is_none():
    assert first_rows(np.array([2, 0, 2, 0]), 4).tolist() == [1, -1, 0, -1]
    assert first_rows(np.array([], dtype=np.int64), 2).tolist() == [-1, -1]
