"""An estimate with its limits: the scale and the roots that limits are found by, and units that come in clusters."""

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


ALIKE = 1e-7


def alike(error: np.ndarray, model_error: np.ndarray) -> np.ndarray:
    """Which errors by cluster (p,) are nothing beside those of the model: clusters do not vary, but for rounding."""
    return error <= ALIKE * model_error


def all_alike() -> Note:
    """The note that goes with errors by cluster that are nothing."""
    text = "Clusters of a group are all alike: how much they vary cannot be estimated, and no limits are given."
    return Note(code="SINGULAR", text=text)


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


Rows = np.ndarray
Function = Callable[[np.ndarray, Rows], np.ndarray]

STEPS = 200


def sign_changes(function: Function, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Where each row's function changes sign between `low` (n,) and `high` (n,), to the last few digits.

    `function(x, rows)` gives the values at `x` for the rows named (whole numbers, 0 to n − 1). A row whose ends
    have one sign gets the end nearer to 0. Chandrupatla TR. Adv Eng Softw 1997;28:145-149.
    """
    every = np.arange(low.size)
    a, b = high.astype(float), low.astype(float)
    at_a, at_b = function(a, every), function(b, every)
    root = np.where(np.abs(at_a) < np.abs(at_b), a, b)
    open_ = np.sign(at_a) * np.sign(at_b) < 0
    rows, a, b, at_a, at_b = (values[open_] for values in (every, a, b, at_a, at_b))
    share = np.full(rows.size, 0.5)
    for _ in range(STEPS):
        if not rows.size:
            break
        x = a + share * (b - a)
        at_x = function(x, rows)
        same = np.sign(at_x) == np.sign(at_a)
        c, at_c = np.where(same, a, b), np.where(same, at_a, at_b)
        b, at_b = np.where(same, b, a), np.where(same, at_b, at_a)
        a, at_a = x, at_x
        nearer = np.abs(at_a) < np.abs(at_b)
        root[rows] = np.where(nearer, a, b)
        least = 4 * np.spacing(np.abs(root[rows])) / np.abs(b - a)
        going = (least < 0.5) & (np.where(nearer, at_a, at_b) != 0)
        rows, a, b, c, at_a, at_b, at_c, least = (values[going] for values in (rows, a, b, c, at_a, at_b, at_c, least))
        share = np.clip(_next_share(a, b, c, at_a, at_b, at_c), least, 1 - least)
    return root


def _next_share(
    a: np.ndarray, b: np.ndarray, c: np.ndarray, at_a: np.ndarray, at_b: np.ndarray, at_c: np.ndarray
) -> np.ndarray:
    """How far from a to b to go: inverse quadratic interpolation where it can be trusted, else one half."""
    xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
    smooth = (phi**2 < xi) & ((1 - phi) ** 2 < 1 - xi)
    share = np.full(a.size, 0.5)
    a, b, c, at_a, at_b, at_c = (values[smooth] for values in (a, b, c, at_a, at_b, at_c))
    by_b = at_a / (at_b - at_a) * at_c / (at_b - at_c)
    by_c = (c - a) / (b - a) * at_a / (at_c - at_a) * at_b / (at_c - at_b)
    share[smooth] = by_b + by_c
    return share


def rising_root(excess: Callable, slope: Callable, left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Where `excess`, rising, is 0 in each row: Newton in a bracket, halved where a step would leave it.

    A Newton step of 1e-7 of the bracket leaves an error of the square of that.
    """
    p, enough = (left + right) / 2, 1e-7 * (right - left)
    for _ in range(100):
        over = excess(p)
        left, right = np.where(over < 0, p, left), np.where(over < 0, right, p)
        newton = p - over / slope(p)
        inside = (newton >= left) & (newton <= right)
        following = np.where(inside, newton, (left + right) / 2)
        settled = np.abs(following - p) <= enough
        p = following
        if settled.all():
            break
    return p
