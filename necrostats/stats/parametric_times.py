"""Weibull, log-normal, log-logistic and exponential regression of times known exactly or only as ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import notes_on, places
from necrostats.stats.intervals import Interval
from necrostats.stats.log_times import SHAPES, Shape, row_terms

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
            estimate=float(np.exp(middle)), low=float(np.exp(middle - half)), high=float(np.exp(middle + half)),
            notes=self.notes,
        )  # fmt: skip


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
        shape=shape, coefficient=beta, std_error=error[: x.shape[1]], low=beta - half, high=beta + half,
        p_value=2 * special.ndtr(-np.abs(beta / error[: x.shape[1]])), scale=float(np.exp(at[-1])) if free else 1.0,
        log_scale_error=float(error[-1]) if free else 0.0, covariance=covariance, level=level,
        log_likelihood=np.nan if np.isnan(at).any() else model.height(at),
        notes=notes + (() if whose is None else notes_on(int(whose.max(initial=-1)) + 1)),
    )  # fmt: skip


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
    checks.one_length(left=left, right=right)
    low, high = checks.not_negative("left", left), checks.numbers("right", right)
    high = np.where(np.isnan(high), np.inf, high)
    checks.refuse("right", high, high < low, "is before its left end. Correct the range, or leave it out and count it.")
    checks.refuse("right", high, high == 0, "is an event at 0, which has no logarithm. Count those by themselves.")
    x = np.empty((low.size, 0)) if covariates is None else checks.finite("covariates", covariates)
    x = x[:, None] if x.ndim == 1 else x
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
