"""Weibull, log-normal, log-logistic and exponential regression of times known exactly or only as ranges.

Each row's share of the likelihood of log times known exactly or as ranges, about a mean that covariates shift.

The likelihood of log-normal amounts known exactly or as a range, and its peak.

The geometric mean of positive amounts, some of them known only as a range, with errors by cluster.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import Interval, few_clusters, notes_on, one_cluster, places

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


WIDEST, NARROWEST = np.log(50.0), -12.0


@dataclass(frozen=True, kw_only=True, eq=False)
class LogAmounts:
    """Log limits of each amount (n,), −∞ and ∞ where open, and which amounts are exact."""

    low: np.ndarray
    high: np.ndarray
    exact: np.ndarray

    @property
    def size(self) -> int:
        """How many amounts there are."""
        return self.low.size

    @property
    def middle(self) -> np.ndarray:
        """A rough place for each amount, to start from: half or double where one side is open."""
        low = np.where(np.isinf(self.low), self.high - np.log(4.0), self.low)
        high = np.where(np.isinf(self.high), low + np.log(4.0), self.high)
        return (low + high) / 2


def log_amounts(low: np.ndarray, high: np.ndarray) -> LogAmounts:
    """Amounts (n,) between `low` (0 = open) and `high` (infinite = open), on the log scale."""
    bottom = np.log(low, out=np.full(low.shape, -np.inf), where=low > 0)
    top = np.log(high, out=np.full(high.shape, np.inf), where=np.isfinite(high))
    return LogAmounts(low=bottom, high=top, exact=low == high)


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """Each row's log-likelihood (n,), its gradient (n, 2) and second derivatives (n, 2, 2) by mu and log sigma."""

    value: np.ndarray
    score: np.ndarray
    hessian: np.ndarray


def terms(rows: LogAmounts, mu: float, log_sigma: float) -> Terms:
    """The likelihood of log amounts normal about `mu`; a density for exact amounts, else a probability."""
    sigma = np.exp(log_sigma)
    exact = _exact_terms((rows.low[rows.exact] - mu) / sigma, sigma, log_sigma)
    ranges = _range_terms((rows.low[~rows.exact] - mu) / sigma, (rows.high[~rows.exact] - mu) / sigma, sigma)
    value, score, hessian = np.empty(rows.size), np.empty((rows.size, 2)), np.empty((rows.size, 2, 2))
    for part, where in ((exact, rows.exact), (ranges, ~rows.exact)):
        value[where], score[where], hessian[where] = part.value, part.score, part.hessian
    return Terms(value=value, score=score, hessian=hessian)


def _exact_terms(z: np.ndarray, sigma: float, log_sigma: float) -> Terms:
    value = -log_sigma - z**2 / 2 - HALF_LOG_2PI
    return _stacked_terms(value, z / sigma, z**2 - 1, np.full(z.shape, -1 / sigma**2), -2 * z / sigma, -2 * z**2)


def _range_terms(a: np.ndarray, b: np.ndarray, sigma: float) -> Terms:
    """From the log of Φ(b) − Φ(a); moment k is (aᵏφ(a) − bᵏφ(b)) / (Φ(b) − Φ(a))."""
    value = _log_probability(a, b)
    at_a, at_b = (np.exp(-(x**2) / 2 - HALF_LOG_2PI - value) for x in (a, b))
    a, b = (np.where(np.isinf(x), 0.0, x) for x in (a, b))
    m0, m1, m2, m3 = (a**k * at_a - b**k * at_b for k in range(4))
    return _stacked_terms(value, m0 / sigma, m1, (m1 - m0**2) / sigma**2, (m2 - m0 - m0 * m1) / sigma, m3 - m1 - m1**2)


def _log_probability(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """log(Φ(b) − Φ(a)), taken in the tail where it loses no digits."""
    flip = a + b > 0
    lower, upper = np.where(flip, -b, a), np.where(flip, -a, b)
    larger = special.log_ndtr(upper)
    return larger + np.log(-np.expm1(special.log_ndtr(lower) - larger))


def _stacked_terms(value, by_mu, by_sigma, mu_mu, mu_sigma, sigma_sigma) -> Terms:
    hessian = np.stack([np.stack([mu_mu, mu_sigma], axis=-1), np.stack([mu_sigma, sigma_sigma], axis=-1)], axis=-2)
    return Terms(value=value, score=np.stack([by_mu, by_sigma], axis=-1), hessian=hessian)


@dataclass(frozen=True, kw_only=True)
class Peak:
    """Where the likelihood is highest, or a note on why no single place is (then `mu` may still be known)."""

    mu: float = np.nan
    log_sigma: float = np.nan
    note: Note | None = None


def peak(rows: LogAmounts) -> Peak:
    """The maximum of the likelihood over mu and log sigma."""
    if rows.size == 0:
        return Peak(note=Note(code="SMALL_N", text="No amount is known: there is no geometric mean."))
    bottom, top = rows.low.max(), rows.high.min()
    if bottom == top and rows.exact.any():
        return Peak(mu=float(bottom), note=_no_spread(rows.size, float(bottom)))
    if bottom < top:
        return Peak(note=_all_agree(bottom, top))
    if rows.exact.all():
        centre = rows.low.mean()
        return Peak(mu=float(centre), log_sigma=float(np.log(np.mean((rows.low - centre) ** 2)) / 2))
    return _climbed(rows)


def _climbed(rows: LogAmounts) -> Peak:
    def loss(at: np.ndarray) -> float:
        return -terms(rows, *at).value.mean()

    def gradient(at: np.ndarray) -> np.ndarray:
        return -terms(rows, *at).score.mean(axis=0)

    def curvature(at: np.ndarray) -> np.ndarray:
        return -terms(rows, *at).hessian.mean(axis=0)

    middle = rows.middle
    start = np.array([middle.mean(), np.log(max(middle.std(), 0.1))])
    found = optimize.minimize(loss, start, jac=gradient, hess=curvature, method="trust-exact", options={"gtol": 1e-6})
    at = found.x
    for _ in range(2):
        if NARROWEST < at[1] < WIDEST and np.linalg.eigvalsh(curvature(at)).min() > 1e-10:
            at = at - np.linalg.solve(curvature(at), gradient(at))
    settled = NARROWEST < at[1] < WIDEST and np.abs(gradient(at)).max() < 1e-8
    return Peak(mu=float(at[0]), log_sigma=float(at[1])) if settled else Peak(note=_no_peak(rows.size))


def _no_spread(n: int, log_value: float) -> Note:
    if n == 1:
        return Note(code="SMALL_N", text="One amount only: it stands as it is, without limits.")
    text = f"All {n} amounts agree with {np.exp(log_value):.4g}: there is no spread to make limits from."
    return Note(code="SINGULAR", text=text)


def _all_agree(bottom: float, top: float) -> Note:
    low = "0" if np.isinf(bottom) else f"{np.exp(bottom):.4g}"
    stretch = f"more than {low}" if np.isinf(top) else f"{low} to {np.exp(top):.4g}"
    text = f"Every amount is a range that holds {stretch}: no geometric mean within it can be told from another."
    return Note(code="NOT_CONVERGED", text=text)


def _no_peak(n: int) -> Note:
    text = f"The {n} amounts are known too loosely to settle on one geometric mean: none is shown."
    return Note(code="NOT_CONVERGED", text=text)


@dataclass(frozen=True, kw_only=True, eq=False)
class GeometricMean(Interval):
    """A geometric mean with limits; `log_sigma` is the log of the standard deviation of log amounts, `n` how many
    amounts said anything, `clusters` how many clusters they came from."""

    log_sigma: float
    n: int
    clusters: int


def lognormal_mean(low: ArrayLike, high: ArrayLike, cluster: ArrayLike, *, level: float = 0.95) -> GeometricMean:
    """Geometric mean of log-normal amounts (n,), each between `low` and `high`, by maximum likelihood.

    Exact where low equals high; "less than" where low is 0; "more than" where high is infinite or NaN; both at once
    says nothing and is left out with a note. `cluster`: a label a row. Limits use the sandwich by cluster with
    G/(G−1) and t(G−1) on the log scale; with exact amounts only, this is the plain geometric mean with its CR1 error.

    Where the likelihood has no single peak, or clusters are fewer than two, NaN and a note.
    Raises StatisticsError for amounts below 0, ranges from high to low, and exact zeros (which have no logarithm).
    """
    level = checks.confidence_level(level)
    bottom, top, label = _checked_bounds(low, high, cluster)
    says = (bottom > 0) | np.isfinite(top)
    rows, whose = log_amounts(bottom[says], top[says]), places(label[says])
    clusters = int(whose.max(initial=-1)) + 1
    best = peak(rows)
    error = _clustered_error(rows, best, whose, clusters) if best.note is None else np.nan
    half = stats.t.ppf((1 + level) / 2, max(clusters - 1, 1)) * error
    return GeometricMean(
        estimate=float(np.exp(best.mu)),
        low=float(np.exp(best.mu - half)),
        high=float(np.exp(best.mu + half)),
        log_sigma=best.log_sigma,
        n=rows.size,
        clusters=clusters,
        notes=_silent(says) + _why(best, error, clusters),
    )


def _checked_bounds(low: ArrayLike, high: ArrayLike, cluster: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    checks.one_length(low=low, high=high, cluster=cluster)
    bottom, label = checks.not_negative("low", low), checks.labels("cluster", cluster)
    top = checks.numbers("high", high)
    top = np.where(np.isnan(top), np.inf, top)
    checks.refuse("high", top, top < bottom, "is less than its low.")
    checks.refuse("high", top, top == 0, "is an amount of 0, which has no logarithm. Count zeros by themselves.")
    return bottom, top, label


def _clustered_error(rows: LogAmounts, best: Peak, whose: np.ndarray, clusters: int) -> float:
    """Sandwich error of mu, scores summed by cluster, times G/(G−1); NaN if clusters do not vary at all."""
    if clusters < 2:
        return np.nan
    each = terms(rows, best.mu, best.log_sigma)
    summed = np.stack([np.bincount(whose, weights=score) for score in each.score.T], axis=1)
    influence = np.linalg.solve(-each.hessian.sum(axis=0), summed.T)[0]
    error = float(np.sqrt(clusters / (clusters - 1) * np.sum(influence**2)))
    return error if error > 1e-10 * np.exp(best.log_sigma) else np.nan


def _silent(says: np.ndarray) -> tuple[Note, ...]:
    left_out = int(np.count_nonzero(~says))
    text = f"{left_out} of {says.size} amounts lie anywhere above 0 and are left out."
    return (Note(code="MISSING", text=text),) if left_out else ()


def _why(best: Peak, error: float, clusters: int) -> tuple[Note, ...]:
    if best.note is not None:
        return (best.note,)
    if clusters < 2:
        return (one_cluster(),)
    if np.isnan(error):
        text = "Clusters do not differ at all, so no limits can be made from how they vary."
        return (Note(code="SINGULAR", text=text),)
    return few_clusters(clusters)
