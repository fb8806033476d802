"""An estimate with its confidence limits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.results import Note


@dataclass(frozen=True, kw_only=True, eq=False)
class Interval:
    """Estimates and their limits: floats where numbers went in, arrays of one shape where arrays did.

    NaN stands only where nothing can be estimated, and `notes` then says why.
    """

    estimate: float | np.ndarray
    low: float | np.ndarray
    high: float | np.ndarray
    notes: tuple[Note, ...] = ()


def as_given(values: np.ndarray) -> float | np.ndarray:
    """A float for a single number, else the array."""
    return float(values) if np.ndim(values) == 0 else values


def empty_denominators(n: np.ndarray) -> tuple[Note, ...]:
    """The note that goes with denominators of 0, if there are any."""
    empty = int(np.count_nonzero(n == 0))
    if not empty:
        return ()
    where = "The denominator is 0" if n.ndim == 0 else f"The denominator is 0 in {empty:,} of {n.size:,} rows"
    return (Note(code="SMALL_N", text=f"{where}: nothing can be estimated there, and nothing is shown."),)
