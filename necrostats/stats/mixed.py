"""A linear model with a normal intercept for each group, by restricted maximum likelihood.

One dimension: everything but the ratio of the two variances has a closed form given that ratio. Laird NM, Ware JH.
Biometrics 1982;38:963-974. Degrees of freedom: Satterthwaite FE. Biometrics Bull 1946;2:110-114, as in
Kuznetsova A and others. J Stat Softw 2017;82(13).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import places

GRID = np.linspace(-14.0, 14.0, 57)  # log of the ratio of variances
ROUNDING, FLAT = 1e-12, 1e-6


@dataclass(frozen=True, kw_only=True)
class MixedContrast:
    """A sum of coefficients with its t limits; NaN where there is no model."""

    estimate: float
    error: float
    df: float
    statistic: float
    p_value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, eq=False)
class RandomIntercept:
    """y = x · coefficient + an intercept a group (variance `between`) + a residual (variance `within`).

    `covariance` (p, p) of the coefficients; `criterion` is −2 × the restricted log-likelihood. `singular`: groups do
    not differ, so `between` is 0 and the coefficients are those of least squares. NaN stands where `notes` say why.
    """

    coefficient: np.ndarray
    covariance: np.ndarray
    between: float
    within: float
    criterion: float
    level: float
    singular: bool
    slope: np.ndarray
    curvature: np.ndarray
    notes: tuple[Note, ...] = ()

    def contrast(self, vector: ArrayLike) -> MixedContrast:
        """vector (p,) · coefficient with limits of Student's t, Satterthwaite's degrees of freedom."""
        by = checks.finite("vector", vector)
        estimate, variance = float(by @ self.coefficient), float(by @ self.covariance @ by)
        if not variance > 0:
            return _bare(estimate)
        error, df = np.sqrt(variance), self._df(by, variance)
        half = special.stdtrit(df, (1 + self.level) / 2) * error
        return MixedContrast(
            estimate=estimate,
            error=float(error),
            df=df,
            statistic=float(estimate / error),
            p_value=float(2 * special.stdtr(df, -abs(estimate / error))),
            low=float(estimate - half),
            high=float(estimate + half),
        )

    def _df(self, by: np.ndarray, variance: float) -> float:
        """2 v² / Var(v): v by log residual variance and by the ratio, with their covariance from the curvature."""
        if self.singular:
            return float(2 * self.curvature[0, 0])
        gradient = np.array([variance, float(by @ self.slope @ by)])
        return float(2 * variance**2 / (gradient @ np.linalg.solve(self.curvature, gradient)))


def _bare(estimate: float) -> MixedContrast:
    nothing = dict.fromkeys(("error", "df", "statistic", "p_value", "low", "high"), np.nan)
    return MixedContrast(estimate=estimate, **nothing)


def random_intercept(y: ArrayLike, x: ArrayLike, groups: ArrayLike, *, level: float = 0.95) -> RandomIntercept:
    """Restricted maximum likelihood for y (n,), x (n, p) with independent columns, and a group label a row (n,).

    Fewer rows than p + 1, or dependent columns: no model, and a note. Raises StatisticsError for missing values.
    """
    level = checks.confidence_level(level)
    values, design = checks.finite("y", y), checks.columns("x", x)
    checks.one_length(y=values, x=np.arange(len(design)), groups=groups)
    whose = places(checks.labels("groups", groups))
    n, p = design.shape
    if n <= p or np.linalg.matrix_rank(design) < p:
        return _none(p, level, n)
    return _fitted(_Profile(values, design, whose), level)


class _Profile:
    """Everything as a function of the ratio λ of the variances, on orthonormal columns and the residuals of y."""

    def __init__(self, y: np.ndarray, x: np.ndarray, whose: np.ndarray) -> None:
        self.q, self.r = np.linalg.qr(x)
        self.first = self.q.T @ y
        self.rest = y - self.q @ self.first
        self.size = np.bincount(whose).astype(float)
        self.sums = np.stack([np.bincount(whose, weights=column) for column in self.q.T], axis=1)
        self.total = np.bincount(whose, weights=self.rest)
        self.square = float(self.rest @ self.rest)
        self.n, self.p = x.shape

    def at(self, ratio: float) -> _Place:
        """Closed forms at one λ."""
        weight = ratio / (1 + self.size * ratio)
        inner = np.eye(self.p) - (self.sums.T * weight) @ self.sums
        inverse = np.linalg.inv(inner)
        shift = inverse @ (-(self.sums.T * weight) @ self.total)
        left = self.total - self.sums @ shift
        squares = self.square - np.sum(weight * self.total * left)
        return _Place(profile=self, ratio=ratio, inner=inner, inverse=inverse, shift=shift, left=left, squares=squares)

    def slopes(self, ratios: np.ndarray) -> np.ndarray:
        """The slope of the criterion at many λ (m,) at once; as `_Place.slope` at each."""
        spread = 1 + self.size * ratios[:, None]
        weight, rate = ratios[:, None] / spread, 1 / spread**2
        products = (self.sums[:, :, None] * self.sums[:, None, :]).reshape(self.size.size, -1)
        square = (ratios.size, self.p, self.p)
        inverse = np.linalg.inv(np.eye(self.p) - (weight @ products).reshape(square))
        shift = -np.einsum("lij,lj->li", inverse, (weight * self.total) @ self.sums)
        left = self.total - shift @ self.sums.T
        within = (self.square - np.sum(weight * self.total * left, axis=1)) / (self.n - self.p)
        moved = np.sum(inverse * -(rate @ products).reshape(square), axis=(1, 2))
        return -np.sum(rate * left**2, axis=1) / within + np.sum(self.size / spread, axis=1) + moved


@dataclass(frozen=True, kw_only=True, eq=False)
class _Place:
    profile: _Profile
    ratio: float
    inner: np.ndarray
    inverse: np.ndarray
    shift: np.ndarray
    left: np.ndarray
    squares: float

    @property
    def within(self) -> float:
        """The residual variance at this ratio."""
        return self.squares / (self.profile.n - self.profile.p)

    @property
    def criterion(self) -> float:
        """−2 × the restricted log-likelihood, the residual variance taken out; of the columns as they were given."""
        one = self.profile
        freedom = one.n - one.p
        logs = np.sum(np.log1p(one.size * self.ratio)) + np.linalg.slogdet(self.inner)[1]
        scale = 2 * np.sum(np.log(np.abs(np.diag(one.r))))
        return float(freedom * (1 + np.log(2 * np.pi * self.within)) + logs + scale)

    def _terms(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """First and second slopes of the weights by the ratio, and the first of the inner matrix."""
        one = self.profile
        rate = 1 / (1 + one.size * self.ratio) ** 2
        second = -2 * one.size / (1 + one.size * self.ratio) ** 3
        return rate, second, -(one.sums.T * rate) @ one.sums

    def slope(self) -> float:
        """The slope of the criterion by the ratio."""
        one, (rate, _, inner) = self.profile, self._terms()
        fall = -np.sum(rate * self.left**2)
        share = one.size / (1 + one.size * self.ratio)
        return float(fall / self.within + share.sum() + np.sum(self.inverse * inner))

    def curvature(self) -> np.ndarray:
        """Half the second slopes (2, 2) of the criterion by the log residual variance and the ratio."""
        one, (rate, second, inner) = self.profile, self._terms()
        moved = self.inverse @ (-(one.sums.T * rate) @ self.left)
        fall = -np.sum(rate * self.left**2)
        bend = -np.sum(second * self.left**2) + 2 * np.sum(rate * self.left * (one.sums @ moved))
        share = one.size / (1 + one.size * self.ratio)
        product = self.inverse @ inner
        again = self.inverse @ (-(one.sums.T * second) @ one.sums)
        logs = -np.sum(share**2) + np.trace(again) - np.sum(product * product.T)
        cross = -fall / self.within
        return np.array([[one.n - one.p, cross], [cross, bend / self.within + logs]]) / 2

    def result(self, level: float) -> RandomIntercept:
        one, back = self.profile, np.linalg.inv(self.profile.r)
        _, _, inner = self._terms()
        covariance = self.within * self.inverse
        slope = -self.within * self.inverse @ inner @ self.inverse
        return RandomIntercept(
            coefficient=back @ (one.first + self.shift),
            covariance=back @ covariance @ back.T,
            between=self.ratio * self.within,
            within=self.within,
            criterion=self.criterion,
            level=level,
            singular=self.ratio == 0,
            slope=back @ slope @ back.T,
            curvature=self.curvature(),
        )


def _fitted(profile: _Profile, level: float) -> RandomIntercept:
    """The lowest of the criterion's minima, with λ = 0 among them."""
    if profile.square <= ROUNDING * max(float(profile.first @ profile.first), 1.0):
        return _none(profile.p, level, profile.n)
    slopes = profile.slopes(np.exp(GRID))
    turns = np.flatnonzero((slopes[:-1] < 0) & (slopes[1:] >= 0))
    roots = [_root(profile, *GRID[[turn, turn + 1]]) for turn in turns]
    found = [profile.at(0.0), *(profile.at(root) for root in roots if root is not None)]
    best, far = min(found, key=lambda place: place.criterion), profile.at(np.exp(GRID[-1]))
    if far.criterion < best.criterion - FLAT:
        return _without(profile.p, level, _ENDLESS)
    return best.result(level)


def _root(profile: _Profile, low: float, high: float) -> float | None:
    """Where the slope passes through 0 between two log ratios; None where it is 0 throughout, but for rounding."""
    if profile.at(np.exp(low)).slope() >= 0 or profile.at(np.exp(high)).slope() < 0:
        return None
    return float(np.exp(optimize.brentq(lambda each: profile.at(np.exp(each)).slope(), low, high, xtol=1e-13)))


_ENDLESS = Note(
    code="NOT_CONVERGED",
    text="Too few rows share a group to tell the spread within groups from that between them: no model is fitted.",
)


def _none(p: int, level: float, n: int) -> RandomIntercept:
    text = (
        f"{n} values for {p} coefficients, with columns that follow from each other or no spread: no model is fitted."
    )
    return _without(p, level, Note(code="SMALL_N", text=text))


def _without(p: int, level: float, note: Note) -> RandomIntercept:
    nothing = np.full((p, p), np.nan)
    return RandomIntercept(
        coefficient=np.full(p, np.nan),
        covariance=nothing,
        between=np.nan,
        within=np.nan,
        criterion=np.nan,
        level=level,
        singular=False,
        slope=nothing,
        curvature=np.full((2, 2), np.nan),
        notes=(note,),
    )
