"""Weibull, log-normal, log-logistic and exponential regression of times known exactly or only as ranges.

Each row's share of the likelihood of log times known exactly or as ranges, about a mean that covariates shift.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import Interval, notes_on, places

HALF_LOG_2PI = 0.5 * np.log(2 * np.pi)
Function = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True, kw_only=True)
class Shape:
    """A distribution of standardised log times: logs of its shares below and above, of its density, the first and
    second slopes of that, its middle, and whether its scale is 1 by definition."""

    log_below: Function
    log_above: Function
    log_density: Function
    slope: Function
    bend: Function
    middle: float = 0.0
    fixed_scale: bool = False


def _extreme(*, fixed_scale: bool) -> Shape:
    return Shape(
        log_below=lambda z: np.log(-np.expm1(-np.exp(z))),
        log_above=lambda z: -np.exp(z),
        log_density=lambda z: z - np.exp(z),
        slope=lambda z: 1 - np.exp(z),
        bend=lambda z: -np.exp(z),
        middle=float(np.log(np.log(2))),
        fixed_scale=fixed_scale,
    )


SHAPES = {
    "weibull": _extreme(fixed_scale=False),
    "exponential": _extreme(fixed_scale=True),
    "log-normal": Shape(
        log_below=special.log_ndtr,
        log_above=lambda z: special.log_ndtr(-z),
        log_density=lambda z: -(z**2) / 2 - HALF_LOG_2PI,
        slope=lambda z: -z,
        bend=lambda z: -np.ones_like(z),
    ),
    "log-logistic": Shape(
        log_below=special.log_expit,
        log_above=lambda z: special.log_expit(-z),
        log_density=lambda z: special.log_expit(z) + special.log_expit(-z),
        slope=lambda z: 1 - 2 * special.expit(z),
        bend=lambda z: -2 * special.expit(z) * special.expit(-z),
    ),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class RowTerms:
    """Each row's log-likelihood (n,), its slopes by mean and log scale (n, 2), and second slopes (n, 2, 2)."""

    value: np.ndarray
    slope: np.ndarray
    bend: np.ndarray


def row_terms(shape: Shape, low: np.ndarray, high: np.ndarray, mean: np.ndarray, log_scale: float) -> RowTerms:
    """Terms of log times between `low` (−∞ = open) and `high` (∞ = open), exact where equal; all (n,)."""
    scale, exact = np.exp(log_scale), low == high
    value, slope, bend = np.empty(low.size), np.empty((low.size, 2)), np.empty((low.size, 2, 2))
    a, b = (low - mean) / scale, (high - mean) / scale
    between = _between(shape, a[~exact], b[~exact], scale)
    for part, where in ((_exact(shape, a[exact], scale), exact), (between, ~exact)):
        value[where], slope[where], bend[where] = part.value, part.slope, part.bend
    value[exact] -= low[exact]
    return RowTerms(value=value, slope=slope, bend=bend)


def _exact(shape: Shape, z: np.ndarray, scale: float) -> RowTerms:
    """By the density of the time itself; its log is taken off by the caller."""
    first, second = shape.slope(z), shape.bend(z)
    return _stacked(
        shape.log_density(z) - np.log(scale),
        -first / scale,
        -z * first - 1,
        second / scale**2,
        (z * second + first) / scale,
        z**2 * second + z * first,
    )


def _between(shape: Shape, a: np.ndarray, b: np.ndarray, scale: float) -> RowTerms:
    value = _log_between(shape, a, b)
    at_a, slope_a, a = _edge(shape, a, value)
    at_b, slope_b, b = _edge(shape, b, value)
    aa, bb, ab = -slope_a - at_a**2, slope_b - at_b**2, at_a * at_b
    by_mean, by_scale = (at_a - at_b) / scale, a * at_a - b * at_b
    return _stacked(
        value,
        by_mean,
        by_scale,
        (aa + 2 * ab + bb) / scale**2,
        (a * aa + (a + b) * ab + b * bb) / scale - by_mean,
        a**2 * aa + 2 * a * b * ab + b**2 * bb - by_scale,
    )


def _edge(shape: Shape, z: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Density at an edge and its slope, over the probability; and the edge, an open one as 0 with no density."""
    open_ = np.isinf(z)
    z = np.where(open_, 0.0, z)
    density = np.where(open_, 0.0, np.exp(shape.log_density(z) - value))
    return density, density * shape.slope(z), z


def _log_between(shape: Shape, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """log of the share between a and b, taken on the side where it loses no digits."""
    above = shape.log_below(np.where(np.isinf(a), 0.0, a)) > np.log(0.5)
    above = (above | np.isinf(b)) & ~np.isinf(a)
    larger = np.where(above, shape.log_above(np.where(above, a, 0.0)), shape.log_below(np.where(above, 0.0, b)))
    open_ = np.isinf(np.where(above, b, a))
    edge = np.where(open_, 0.0, np.where(above, b, a))
    smaller = np.where(above, shape.log_above(edge), shape.log_below(edge))
    gap = np.where(open_, -np.inf, smaller - larger)
    return larger + np.log(-np.expm1(gap))


def _stacked(value, by_mean, by_scale, mean_mean, mean_scale, scale_scale) -> RowTerms:
    bend = np.stack([np.stack([mean_mean, mean_scale], axis=-1), np.stack([mean_scale, scale_scale], axis=-1)], axis=-2)
    return RowTerms(value=value, slope=np.stack([by_mean, by_scale], axis=-1), bend=bend)


FEWEST_EVENTS = 5
STEPS, HALVINGS, LONGEST, SETTLED = 100, 40, 1.5, 1e-9
ROUNDING = 1e-10


@dataclass(frozen=True, kw_only=True, eq=False)
class TimesFit:
    """log time = coefficient[0] + covariates · coefficient[1:] + scale × a standard error of the named shape.

    exp(coefficient) is a ratio of times. `std_error` (p + 1,) robust by cluster where clusters were given;
    `log_scale_error` likewise, 0 where the scale is 1 by definition. NaN stands where `notes` say why.
    """

    shape: str
    coefficient: np.ndarray
    std_error: np.ndarray
    low: np.ndarray
    high: np.ndarray
    p_value: np.ndarray
    scale: float
    log_scale_error: float
    covariance: np.ndarray
    log_likelihood: float
    level: float
    notes: tuple[Note, ...] = ()

    def median(self, covariates: ArrayLike) -> Interval:
        """The median time at covariates (p,), with limits on the log scale."""
        x = np.append(1.0, checks.finite("covariates", covariates))
        by = np.append(x, SHAPES[self.shape].middle * self.scale)[: len(self.covariance)]
        middle = float(x @ self.coefficient + SHAPES[self.shape].middle * self.scale)
        half = special.ndtri((1 + self.level) / 2) * np.sqrt(by @ self.covariance @ by)
        return Interval(
            estimate=float(np.exp(middle)),
            low=float(np.exp(middle - half)),
            high=float(np.exp(middle + half)),
            notes=self.notes,
        )


def parametric_times(
    left: ArrayLike,
    right: ArrayLike,
    covariates: ArrayLike | None = None,
    *,
    shape: str = "log-normal",
    cluster: ArrayLike | None = None,
    fewest_events: float = FEWEST_EVENTS,
    level: float = 0.95,
) -> TimesFit:
    """Accelerated failure time model for ranges (left, right] (n,): exact where equal, still without the event at
    `left` where `right` is infinite or NaN, and "by `right`" where `left` is 0. As R's survreg with interval2.

    `covariates` (n, p); `cluster`: a label a row. A row that says nothing (0 to infinity) adds nothing. Fewer than
    `fewest_events` rows with an event a covariate, or no single peak: no model, and a note.
    Kalbfleisch JD, Prentice RL. The Statistical Analysis of Failure Time Data, 2nd ed. 2002, chapter 3.
    Raises StatisticsError for ranges from high to low, and for events at exactly 0, which have no logarithm.
    """
    if shape not in SHAPES:
        raise unknown_choice("shape of times", shape, SHAPES)
    level = checks.confidence_level(level)
    low, high, x = _checked(left, right, covariates)
    whose = None if cluster is None else places(checks.labels("cluster", cluster))
    checks.one_length(left=low, cluster=whose)
    model = _Model(shape=SHAPES[shape], low=low, high=high, x=x)
    notes = _refused(model, fewest_events)
    at = np.full(model.size, np.nan) if notes else _peak(model)
    covariance = np.full((model.size, model.size), np.nan) if np.isnan(at).any() else _covariance(model, at, whose)
    if not notes and np.isnan(at).any():
        text = f"The {low.size} ranges are too loose to settle on one curve: no model is shown."
        notes = (Note(code="NOT_CONVERGED", text=text),)
    variance = np.diagonal(covariance)
    beta, error = at[: x.shape[1]], np.sqrt(np.where(variance > ROUNDING**2, variance, np.nan))
    half = special.ndtri((1 + level) / 2) * error[: x.shape[1]]
    free = not model.shape.fixed_scale
    return TimesFit(
        shape=shape,
        coefficient=beta,
        std_error=error[: x.shape[1]],
        low=beta - half,
        high=beta + half,
        p_value=2 * special.ndtr(-np.abs(beta / error[: x.shape[1]])),
        scale=float(np.exp(at[-1])) if free else 1.0,
        log_scale_error=float(error[-1]) if free else 0.0,
        covariance=covariance,
        level=level,
        log_likelihood=np.nan if np.isnan(at).any() else model.height(at),
        notes=notes + (() if whose is None else notes_on(int(whose.max(initial=-1)) + 1)),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Model:
    """Log limits (n,) and covariates with a column of ones (n, p + 1); parameters are theirs, then the log scale."""

    shape: Shape
    low: np.ndarray
    high: np.ndarray
    x: np.ndarray

    @property
    def size(self) -> int:
        return self.x.shape[1] + (not self.shape.fixed_scale)

    def _terms(self, at: np.ndarray):
        width = self.x.shape[1]
        log_scale = 0.0 if self.shape.fixed_scale else at[width]
        return row_terms(self.shape, self.low, self.high, self.x @ at[:width], log_scale)

    def height(self, at: np.ndarray) -> float:
        return float(self._terms(at).value.sum())

    def scores(self, at: np.ndarray) -> np.ndarray:
        slope = self._terms(at).slope
        return np.hstack([self.x * slope[:, :1], slope[:, 1:]])[:, : self.size]

    def bend(self, at: np.ndarray) -> np.ndarray:
        bend = self._terms(at).bend
        mean = np.einsum("ni,n,nj->ij", self.x, bend[:, 0, 0], self.x, optimize=True)
        cross = (self.x.T @ bend[:, 0, 1])[:, None]
        return np.block([[mean, cross], [cross.T, bend[:, 1, 1].sum()]])[: self.size, : self.size]


def _peak(model: _Model) -> np.ndarray:
    """Where the likelihood is highest; NaN if it settles nowhere. Newton steps, kept short and uphill."""
    at = _start(model)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for _ in range(STEPS):
            slope, bend = model.scores(at).sum(axis=0), -model.bend(at)
            if not (np.isfinite(slope).all() and np.isfinite(bend).all()):
                break
            values, axes = np.linalg.eigh(bend)
            step = axes @ (axes.T @ slope / np.maximum(np.abs(values), 1e-9 * model.low.size))
            settled = values.min() > 1e-9 * model.low.size and np.abs(step).max() < SETTLED
            if settled:
                return at + step
            moved = _uphill(model, at, step * min(1.0, LONGEST / np.abs(step).max()))
            if moved is at:
                break
            at = moved
    return np.full(model.size, np.nan)


def _uphill(model: _Model, at: np.ndarray, step: np.ndarray) -> np.ndarray:
    """As far along the step as the likelihood rises, halving it; the same place if it rises nowhere."""
    height = model.height(at)
    for _ in range(HALVINGS):
        if model.height(at + step) >= height - 1e-12 * abs(height):
            return at + step
        step = step / 2
    return at


def _start(model: _Model) -> np.ndarray:
    """A rough fit to the middles of the ranges, half or double where one side is open."""
    told = np.isfinite(model.low) | np.isfinite(model.high)
    low, high = model.low[told], model.high[told]
    low = np.where(np.isinf(low), high - np.log(4.0), low)
    high = np.where(np.isinf(high), low + np.log(4.0), high)
    middle = (low + high) / 2
    return np.append(np.linalg.lstsq(model.x[told], middle)[0], np.log(max(middle.std(), 0.1)))[: model.size]


def _covariance(model: _Model, at: np.ndarray, whose: np.ndarray | None) -> np.ndarray:
    """The inverse information; by cluster, the sandwich of summed scores."""
    inverse = np.linalg.inv(-model.bend(at))
    if whose is None:
        return inverse
    if whose.max() == 0:
        return np.full(inverse.shape, np.nan)
    summed = np.stack([np.bincount(whose, weights=each) for each in model.scores(at).T], axis=1) @ inverse
    return summed.T @ summed


def _checked(
    left: ArrayLike, right: ArrayLike, covariates: ArrayLike | None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    low, high = checks.ranges(left, right)
    checks.refuse("right", high, high == 0, "is an event at 0, which has no logarithm. Count those by themselves.")
    x = np.empty((low.size, 0)) if covariates is None else checks.columns("covariates", covariates)
    checks.one_length(left=low, covariates=np.arange(len(x)))
    bottom = np.log(low, out=np.full(low.shape, -np.inf), where=low > 0)
    top = np.log(high, out=np.full(high.shape, np.inf), where=np.isfinite(high))
    return bottom, top, np.hstack([np.ones((low.size, 1)), x])


def _refused(model: _Model, fewest: float) -> tuple[Note, ...]:
    events, p = int(np.count_nonzero(np.isfinite(model.high))), model.x.shape[1] - 1
    if not events:
        return (Note(code="ZERO_EVENTS", text="No events: there are no times to model."),)
    if events < fewest * max(p, 1):
        text = f"{events} events for {p} covariates, fewer than {fewest:g} for each: no model is fitted."
        return (Note(code="SMALL_N", text=text),)
    if np.linalg.matrix_rank(model.x) < model.x.shape[1]:
        text = "A covariate is the same for all, or follows from the others: no model is fitted."
        return (Note(code="SINGULAR", text=text),)
    return ()
