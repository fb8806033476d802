"""Each row's share of the likelihood of log times known exactly or as ranges, about a mean that covariates shift."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

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
        log_below=lambda z: np.log(-np.expm1(-np.exp(z))), log_above=lambda z: -np.exp(z),
        log_density=lambda z: z - np.exp(z), slope=lambda z: 1 - np.exp(z),
        bend=lambda z: -np.exp(z), middle=float(np.log(np.log(2))),
        fixed_scale=fixed_scale,
    )  # fmt: skip


SHAPES = {
    "weibull": _extreme(fixed_scale=False),
    "exponential": _extreme(fixed_scale=True),
    "log-normal": Shape(
        log_below=special.log_ndtr, log_above=lambda z: special.log_ndtr(-z),
        log_density=lambda z: -(z**2) / 2 - HALF_LOG_2PI, slope=lambda z: -z, bend=lambda z: -np.ones_like(z),
    ),
    "log-logistic": Shape(
        log_below=special.log_expit, log_above=lambda z: special.log_expit(-z),
        log_density=lambda z: special.log_expit(z) + special.log_expit(-z), slope=lambda z: 1 - 2 * special.expit(z),
        bend=lambda z: -2 * special.expit(z) * special.expit(-z),
    ),
}  # fmt: skip


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
        shape.log_density(z) - np.log(scale), -first / scale, -z * first - 1, second / scale**2,
        (z * second + first) / scale, z**2 * second + z * first,
    )  # fmt: skip


def _between(shape: Shape, a: np.ndarray, b: np.ndarray, scale: float) -> RowTerms:
    value = _log_between(shape, a, b)
    at_a, slope_a, a = _edge(shape, a, value)
    at_b, slope_b, b = _edge(shape, b, value)
    aa, bb, ab = -slope_a - at_a**2, slope_b - at_b**2, at_a * at_b
    by_mean, by_scale = (at_a - at_b) / scale, a * at_a - b * at_b
    return _stacked(
        value, by_mean, by_scale, (aa + 2 * ab + bb) / scale**2,
        (a * aa + (a + b) * ab + b * bb) / scale - by_mean, a**2 * aa + 2 * a * b * ab + b**2 * bb - by_scale,
    )  # fmt: skip


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
    bend = np.stack(
        [np.stack([mean_mean, mean_scale], axis=-1), np.stack([mean_scale, scale_scale], axis=-1)], axis=-2
    )
    return RowTerms(value=value, slope=np.stack([by_mean, by_scale], axis=-1), bend=bend)
