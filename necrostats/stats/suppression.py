"""Which counts of a page must be hidden so that no small one can be worked out from the others.

A page prints counts; a reader knows how they hang together (levels add up to their total). What may not be known are
some sums and differences of them. Everything here is linear algebra over the counts; nothing is random.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError
from necrostats.stats import checks

_ROUNDING = 1e-9


def shown_counts(
    values: ArrayLike,
    equations: ArrayLike,
    sensitive: ArrayLike,
    *,
    unions: Sequence[Sequence[int]] = (),
    fewest: int = 5,
) -> np.ndarray:
    """Which of `values` (m,) may be printed, so that no row of `sensitive` (s, m) can be worked out from them.

    `equations` (q, m) are sums of the counts that everybody knows to be 0; `sensitive` are sums that must stay unknown
    while they lie between 1 and `fewest` − 1. `unions` lists the places of counts that add up to a printed total: those
    hidden among them must be two or more and together at least `fewest`. Counts are hidden, the smallest first, until
    all holds; a hidden count may be any whole number. Raises StatisticsError for shapes that do not fit.
    Willenborg L, de Waal T. Elements of Statistical Disclosure Control, 2001 (complementary cell suppression).
    """
    counts = checks.counts("values", np.atleast_1d(values))
    known, secret = _rows("equations", equations, counts), _rows("sensitive", sensitive, counts)
    secret = secret[_is_small(secret @ counts, fewest)]
    shown = np.ones(counts.size, dtype=bool)
    while (place := _next_to_hide(counts, known, secret, shown, unions, fewest)) is not None:
        shown[place] = False
    return shown


def determined(wanted: ArrayLike, known: ArrayLike) -> np.ndarray:
    """Which rows of `wanted` (s, m) are fixed by the rows of `known` (q, m): they lie in the space those span."""
    rows, base = np.atleast_2d(np.asarray(wanted, dtype=float)), np.atleast_2d(np.asarray(known, dtype=float))
    if not base.size:
        return ~rows.any(axis=1)
    _, sizes, directions = np.linalg.svd(base, full_matrices=False)
    span = directions[sizes > _ROUNDING * max(base.shape)]
    left = rows - rows @ span.T @ span
    return np.linalg.norm(left, axis=1) < 1e-7 * np.maximum(np.linalg.norm(rows, axis=1), 1)


def _rows(name: str, given: ArrayLike, counts: np.ndarray) -> np.ndarray:
    if not np.size(given):
        return np.zeros((0, counts.size))
    if np.shape(given)[-1] != counts.size:
        raise StatisticsError(f"{name} needs a column for each of the {counts.size} values.")
    return np.atleast_2d(np.asarray(given, dtype=float))


def _is_small(sums: np.ndarray, fewest: int) -> np.ndarray:
    return (sums > 0) & (sums < fewest)


def _next_to_hide(counts, known, secret, shown, unions, fewest) -> int | None:
    """The place of one more count to hide; None when everything holds."""
    printed = np.eye(counts.size)[shown]
    leaks = secret[determined(secret, np.vstack([known, printed]))] if len(secret) else secret
    for leak in leaks:
        return _smallest(counts, _used_for(leak, known, shown))
    for union in unions:
        hidden = [place for place in union if not shown[place]]
        few = len(hidden) == 1 or counts[hidden].sum() < fewest
        still = np.array([place for place in union if shown[place] and counts[place] > 0], dtype=int)
        if hidden and few and still.size:
            return _smallest(counts, still)
    return None


def _used_for(leak: np.ndarray, known: np.ndarray, shown: np.ndarray) -> np.ndarray:
    """The printed counts by which a sum can be worked out: hide one of them and this way is closed."""
    places = np.flatnonzero(shown)
    base = np.vstack([np.eye(leak.size)[places], known])
    weights = np.linalg.lstsq(base.T, leak, rcond=None)[0][: places.size]
    return places[np.abs(weights) > 1e-7]


def _smallest(counts: np.ndarray, places: np.ndarray) -> int:
    return int(places[np.argmin(counts[places])])
