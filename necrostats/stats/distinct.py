"""Pairs of counts that occur again and again, computed once each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, kw_only=True, eq=False)
class Pairs:
    """The distinct pairs (m,), and for each row of the original shape where its own pair stands."""

    k: np.ndarray
    n: np.ndarray
    place: np.ndarray

    def spread(self, values: np.ndarray) -> np.ndarray:
        """Values of the pairs (m,) laid out as the rows were."""
        return values[self.place]


def distinct_pairs(k: np.ndarray, n: np.ndarray) -> Pairs:
    """The distinct pairs of whole numbers in `k` and `n`, arrays of one shape with k ≤ n."""
    width = n.max(initial=0) + 1
    _, first, back = np.unique((n * width + k).ravel(), return_index=True, return_inverse=True)
    return Pairs(k=k.ravel()[first], n=n.ravel()[first], place=back.reshape(k.shape))
