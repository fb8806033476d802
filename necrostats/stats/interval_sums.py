"""Sums over stretches of an ordered axis, made by adding only: no running total is taken from another.

Where weights differ by many powers of ten, as those of risk sets do, the difference of two running totals has no digits
left. A binary tree over the axis gives the same sums from parts that all lie inside the stretch.
"""

from __future__ import annotations

import numpy as np


def over_points(values: np.ndarray, first: np.ndarray, end: np.ndarray, points: int) -> np.ndarray:
    """For each of so many points (E, k) the sum of values (n, k) whose stretch [first, end) (n,) holds it."""
    size = _size(points)
    nodes = np.zeros((2 * size, values.shape[1]))
    for row, node in _parts(first, end, size):
        _add(nodes, node, values[row])
    for level in range(size.bit_length() - 1):
        low = 1 << level
        nodes[2 * low : 4 * low] += np.repeat(nodes[low : 2 * low], 2, axis=0)
    return nodes[size : size + points]


def over_stretches(values: np.ndarray, first: np.ndarray, end: np.ndarray) -> np.ndarray:
    """For each stretch [first, end) (n, k) the sum of the values (E, k) at the points it holds."""
    size = _size(len(values))
    nodes = np.zeros((2 * size, values.shape[1]))
    nodes[size : size + len(values)] = values
    for low in (1 << level for level in reversed(range(size.bit_length() - 1))):
        nodes[low : 2 * low] = nodes[2 * low : 4 * low : 2] + nodes[2 * low + 1 : 4 * low : 2]
    total = np.zeros((first.size, values.shape[1]))
    for row, node in _parts(first, end, size):
        _add(total, row, nodes[node])
    return total


def _size(points: int) -> int:
    return 1 << max(points - 1, 0).bit_length()


def _add(total: np.ndarray, place: np.ndarray, values: np.ndarray) -> None:
    for column in range(total.shape[1]):
        total[:, column] += np.bincount(place, weights=values[:, column], minlength=len(total))


def _parts(first: np.ndarray, end: np.ndarray, size: int):
    """The nodes of the tree that make up each stretch: (rows, nodes), a level at a time."""
    low, high = first.astype(np.int64) + size, np.maximum(end, first).astype(np.int64) + size
    while (open_still := low < high).any():
        at_low = np.flatnonzero(open_still & (low & 1 == 1))
        yield at_low, low[at_low]
        low[at_low] += 1
        at_high = np.flatnonzero((low < high) & (high & 1 == 1))
        yield at_high, high[at_high] - 1
        high[at_high] -= 1
        low, high = low >> 1, high >> 1
