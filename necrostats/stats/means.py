"""The mean of a sample and the difference of two, with t limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import Interval

FEW = 20
ROUNDING = 1e-12


def mean(values: ArrayLike, *, level: float = 0.95) -> Interval:
    """Arithmetic mean with Student's limits, n − 1 degrees of freedom. NaN and a note where they cannot be given.

    Of fewer than 20 values a note: where they are skewed, as counts are, limits hold the truth too seldom
    (tests/simulations).
    """
    given, level = checks.finite("values", values).ravel(), checks.confidence_level(level)
    if given.size < 2 or _flat(given):
        middle = float(given.mean()) if given.size else np.nan
        return Interval(estimate=middle, low=np.nan, high=np.nan, notes=(_too_few(given.size),))
    middle, error = float(given.mean()), given.std(ddof=1) / np.sqrt(given.size)
    half = special.stdtrit(given.size - 1, (1 + level) / 2) * error
    return Interval(estimate=middle, low=float(middle - half), high=float(middle + half), notes=_few(given.size))


def mean_difference(values: ArrayLike, reference: ArrayLike, *, level: float = 0.95) -> Interval:
    """Mean of `values` minus that of `reference`, variances not taken as equal.

    Welch BL. Biometrika 1947;34:28-35, with Satterthwaite's degrees of freedom. NaN and a note as for `mean`.
    """
    one, two = (checks.finite(name, each).ravel() for name, each in (("values", values), ("reference", reference)))
    level = checks.confidence_level(level)
    if not one.size or not two.size:
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=(_too_few(0),))
    gap = float(one.mean() - two.mean())
    if min(one.size, two.size) < 2 or (_flat(one) and _flat(two)):
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(_too_few(min(one.size, two.size)),))
    parts = np.array([one.var(ddof=1) / one.size, two.var(ddof=1) / two.size])
    freedom = parts.sum() ** 2 / np.sum(parts**2 / np.array([one.size - 1, two.size - 1]))
    half = special.stdtrit(freedom, (1 + level) / 2) * np.sqrt(parts.sum())
    return Interval(estimate=gap, low=float(gap - half), high=float(gap + half))


def _flat(values: np.ndarray) -> bool:
    """Whether all values are the same but for rounding."""
    return bool(np.ptp(values) <= ROUNDING * np.abs(values).max())


def _few(n: int) -> tuple[Note, ...]:
    if n >= FEW:
        return ()
    text = f"Only {n} values: with fewer than {FEW}, limits of a mean of skewed values hold the truth too seldom."
    return (Note(code="SMALL_N", text=text),)


def _too_few(n: int) -> Note:
    why = f"only {n} in a group" if n < 2 else "all values are the same"
    return Note(code="SMALL_N", text=f"No limits for a mean: {why}.")
