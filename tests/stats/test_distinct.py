from __future__ import annotations

import numpy as np

from necrostats.stats.distinct import distinct_pairs


def test_every_row_finds_its_own_pair():
    k, n = np.array([[1.0, 0.0], [1.0, 2.0]]), np.array([[3.0, 3.0], [3.0, 2.0]])
    pairs = distinct_pairs(k, n)
    assert pairs.k.size == 3
    assert np.array_equal(pairs.spread(pairs.k), k) and np.array_equal(pairs.spread(pairs.n), n)
