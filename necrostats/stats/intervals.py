"""An estimate with its limits: the scale on which limits are taken, and units that come in clusters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from necrostats.errors import unknown_choice
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


FEW = 20


def few_clusters(clusters: int) -> tuple[Note, ...]:
    """The note that goes with fewer than 20 clusters."""
    if clusters >= FEW:
        return ()
    text = f"Only {clusters} clusters: limits that allow for clustering are approximate with fewer than {FEW}."
    return (Note(code="FEW_CLUSTERS", text=text),)


def one_cluster() -> Note:
    """The note that goes with a single cluster."""
    text = "All units belong to one cluster: how much clusters vary cannot be estimated."
    return Note(code="FEW_CLUSTERS", text=text)


def notes_on(clusters: int) -> tuple[Note, ...]:
    """The notes that go with so many clusters: none, few, or only one. None for no clusters at all."""
    return (one_cluster(),) if clusters == 1 else few_clusters(clusters or FEW)


def places(labels: np.ndarray) -> np.ndarray:
    """The place of each row's label among the distinct labels, 0 to G − 1."""
    return np.unique(labels.astype(str) if labels.dtype.kind == "O" else labels, return_inverse=True)[1]


ROUNDING = 1e-12


@dataclass(frozen=True, kw_only=True)
class Transform:
    """A scale: the way there, the way back, and the slope of the way there."""

    there: Callable[[np.ndarray], np.ndarray]
    back: Callable[[np.ndarray], np.ndarray]
    slope: Callable[[np.ndarray], np.ndarray]


def _log_log_back(value: np.ndarray) -> np.ndarray:
    return np.exp(-np.exp(-value))


TRANSFORMS = {
    "log-log": Transform(there=lambda p: -np.log(-np.log(p)), back=_log_log_back, slope=lambda p: -1 / (p * np.log(p))),
    "log": Transform(there=np.log, back=np.exp, slope=lambda p: 1 / p),
    "plain": Transform(there=lambda p: p, back=lambda value: value, slope=np.ones_like),
    "logit": Transform(there=special.logit, back=special.expit, slope=lambda p: 1 / (p * (1 - p))),
    "arcsin": Transform(
        there=lambda p: np.arcsin(np.sqrt(p)),
        back=lambda value: np.sin(np.clip(value, 0, np.pi / 2)) ** 2,
        slope=lambda p: 0.5 / np.sqrt(p * (1 - p)),
    ),
}


def wider(level: float, n: np.ndarray) -> np.ndarray:
    """How many times as wide t limits of `n` independent values are as normal ones; NaN for fewer than two."""
    several = np.where(np.asarray(n) > 1, n, np.nan)
    return stats.t.ppf((1 + level) / 2, several - 1) / special.ndtri((1 + level) / 2)


def unbiased(n: np.ndarray) -> np.ndarray:
    """By how much the error of `n` independent values is too small, √(n / (n − 1)); NaN for fewer than two."""
    several = np.where(np.asarray(n) > 1, n, np.nan)
    return np.sqrt(several / (several - 1))


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """Lower and upper limits, within 0 and 1; NaN where the estimate is 0 or 1, but for rounding."""

    low: np.ndarray
    high: np.ndarray


def limits(estimate: np.ndarray, std_error: np.ndarray, level: float, transform: str) -> Limits:
    """Limits symmetric on the scale named by `transform`, by the normal quantile of `level`."""
    if transform not in TRANSFORMS:
        raise unknown_choice("transform", transform, TRANSFORMS)
    scale = TRANSFORMS[transform]
    low, high = np.full(estimate.shape, np.nan), np.full(estimate.shape, np.nan)
    inside = (estimate > ROUNDING) & (estimate < 1 - ROUNDING)
    p = estimate[inside]
    half = special.ndtri((1 + level) / 2) * std_error[inside] * scale.slope(p)
    low[inside] = np.clip(scale.back(scale.there(p) - half), 0, 1)
    high[inside] = np.clip(scale.back(scale.there(p) + half), 0, 1)
    return Limits(low=low, high=high)
