"""Which counts of a page must be hidden so that no small one can be worked out from the others.

A page prints counts; a reader knows how they hang together (levels add up to their total). What may not be known are
some sums and differences of them. Everything here is linear algebra over the counts; nothing is random.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import StatisticsError
from necrostats.stats import checks

_PRIME = 2**31 - 1


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
    """Which rows of `wanted` (s, m) are sums of rows of `known` (q, m), all of whole numbers."""
    rows, base = _whole(wanted), _whole(known)
    reduced, _ = _left_over(rows, _Echelon.of(base))
    return ~reduced.any(axis=1)


def _whole(given: ArrayLike) -> np.ndarray:
    rows = np.asarray(given, dtype=np.int64)
    return np.atleast_2d(rows) % _PRIME if rows.size else rows.reshape(0, rows.shape[-1] if rows.ndim > 1 else 0)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Echelon:
    """Rows (r, m) with a leading 1 each in `leads` (r,), and the sums (r, q) of the given rows that they are.

    Whole numbers modulo a prime, so that nothing is rounded: what is 0 is 0.
    """

    rows: np.ndarray
    sums: np.ndarray
    leads: list[int]

    @classmethod
    def of(cls, given: np.ndarray) -> _Echelon:
        rows, sums, leads = given.copy(), np.eye(len(given), dtype=np.int64), []
        for column in range(given.shape[1] if len(given) else 0):
            below = np.flatnonzero(rows[len(leads) :, column])
            if not below.size:
                continue
            top, found = len(leads), len(leads) + int(below[0])
            for part in (rows, sums):
                part[[top, found]] = part[[found, top]]
            inverse = pow(int(rows[top, column]), -1, _PRIME)
            for part in (rows, sums):
                part[top] = part[top] * inverse % _PRIME
            factors = rows[:, column].copy()
            factors[top] = 0
            some = np.flatnonzero(factors)
            for part in (rows, sums):
                part[some] = (part[some] - factors[some, None] * part[top]) % _PRIME
            leads.append(column)
        return cls(rows=rows[: len(leads)], sums=sums[: len(leads)], leads=leads)


def _left_over(wanted: np.ndarray, base: _Echelon) -> tuple[np.ndarray, np.ndarray]:
    """What is left of each wanted row (s, m), and the sums (s, q) of the given rows that were taken from it."""
    left, taken = wanted.copy(), np.zeros((len(wanted), base.sums.shape[1]), dtype=np.int64)
    for row, sums, lead in zip(base.rows, base.sums, base.leads, strict=True):
        factors = left[:, lead].copy()[:, None]
        left, taken = (left - factors * row) % _PRIME, (taken + factors * sums) % _PRIME
    return left, taken


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
    equations, forms = _whole(known), _whole(secret)
    left, taken = _left_over(forms[:, ~shown], _Echelon.of(equations[:, ~shown]))
    for leak in np.flatnonzero(~left.any(axis=1)):
        used = (forms[leak] - (taken[leak][:, None] * equations % _PRIME).sum(axis=0)) % _PRIME
        return _smallest(counts, np.flatnonzero(shown & (used != 0)))
    for union in unions:
        hidden = [place for place in union if not shown[place]]
        few = len(hidden) == 1 or counts[hidden].sum() < fewest
        still = np.array([place for place in union if shown[place] and counts[place] > 0], dtype=int)
        if hidden and few and still.size:
            return _smallest(counts, still)
    return None


def _smallest(counts: np.ndarray, places: np.ndarray) -> int:
    return int(places[np.argmin(counts[places])])
