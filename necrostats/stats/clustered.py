"""Units in clusters: errors of a least-squares fit (CR2), the difference of two shares, and labels exchanged within.

Bell RM, McCaffrey DF. Survey Methodology 2002;28:169-181; degrees of freedom as in Pustejovsky JE, Tipton E. J Bus Econ
Stat 2018;36:672-683 (formulas from memory, values from R).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.event_tables import over
from necrostats.stats.intervals import Interval, few_clusters, one_cluster, places

ROUNDING = 1e-10


@dataclass(frozen=True, kw_only=True)
class ClusteredContrast:
    """A sum of coefficients with its t limits; NaN where they cannot be given."""

    estimate: float
    error: float = np.nan
    df: float = np.nan
    statistic: float = np.nan
    p_value: float = np.nan
    low: float = np.nan
    high: float = np.nan


@dataclass(frozen=True, kw_only=True, eq=False)
class ClusteredFit:
    """y = x · coefficient; `residual` is the standard deviation of what is left.

    `covariance` (p, p) is CR2; NaN for one cluster, or where nothing is left. `inverse` is (x'x)⁻¹, and `pieces` hold
    for each cluster its adjusted rows of x · (x'x)⁻¹ (n_g, p) and its rows of x, for the degrees of freedom.
    """

    coefficient: np.ndarray
    covariance: np.ndarray
    inverse: np.ndarray
    pieces: tuple[tuple[np.ndarray, np.ndarray], ...]
    residual: float
    level: float
    notes: tuple[Note, ...] = ()

    def contrast(self, vector: ArrayLike) -> ClusteredContrast:
        """vector (p,) · coefficient with CR2 limits of Student's t, Satterthwaite's degrees of freedom."""
        by = checks.finite("vector", vector)
        estimate, variance = float(by @ self.coefficient), float(by @ self.covariance @ by)
        if not variance > (ROUNDING * self.residual) ** 2:
            return ClusteredContrast(estimate=estimate)
        error, df = float(np.sqrt(variance)), self._df(by)
        half = special.stdtrit(df, (1 + self.level) / 2) * error
        return ClusteredContrast(
            estimate=estimate,
            error=error,
            df=df,
            statistic=estimate / error,
            p_value=float(2 * special.stdtr(df, -abs(estimate / error))),
            low=estimate - half,
            high=estimate + half,
        )

    def _df(self, by: np.ndarray) -> float:
        """(Σ λ)² / Σ λ² of the quadratic form whose expectation is the variance, with independent rows."""
        parts = [adjusted @ by for adjusted, _ in self.pieces]
        own = np.array([part @ part for part in parts])
        cross = np.stack([x.T @ part for part, (_, x) in zip(parts, self.pieces, strict=True)])
        form = np.diag(own) - cross @ self.inverse @ cross.T
        return float(np.trace(form) ** 2 / np.sum(form**2))


def least_squares(y: ArrayLike, x: ArrayLike, groups: ArrayLike, *, level: float = 0.95) -> ClusteredFit:
    """Ordinary least squares of y (n,) on x (n, p), errors by cluster (a label a row) with the CR2 correction.

    Dependent columns or fewer than two clusters: no errors, and a note. Raises StatisticsError for missing values.
    """
    values, design, whose, level = _checked(y, x, groups, level)
    return _fitted(values, design, whose, level, design.shape[1])


def within_groups(y: ArrayLike, x: ArrayLike, groups: ArrayLike, *, level: float = 0.95) -> ClusteredFit:
    """Least squares with an effect for each group; the groups are the clusters too. y and x less their group means.

    Columns that do not vary within any group must be left out beforehand.
    """
    values, design, whose, level = _checked(y, x, groups, level)
    return _fitted(
        values - _means(values[:, None], whose)[:, 0],
        design - _means(design, whose),
        whose,
        level,
        design.shape[1] + int(whose.max(initial=-1)) + 1,
    )


def _checked(y, x, groups, level: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    values, design = checks.finite("y", y), checks.columns("x", x)
    checks.one_length(y=values, x=np.arange(len(design)), groups=groups)
    return values, design, places(checks.labels("groups", groups)), checks.confidence_level(level)


def _means(columns: np.ndarray, whose: np.ndarray) -> np.ndarray:
    """The mean of each column in each row's group."""
    counts = np.bincount(whose)
    sums = np.stack([np.bincount(whose, weights=each) for each in columns.T], axis=1)
    return (sums / counts[:, None])[whose]


def _fitted(y: np.ndarray, x: np.ndarray, whose: np.ndarray, level: float, terms: int) -> ClusteredFit:
    n, p = x.shape
    clusters = int(whose.max(initial=-1)) + 1
    if n < p or np.linalg.matrix_rank(x) < p:
        return _none(p, level)
    inverse = np.linalg.inv(x.T @ x)
    beta = inverse @ (x.T @ y)
    left = y - x @ beta
    order = np.argsort(whose, kind="stable")
    rows = np.split(order, np.cumsum(np.bincount(whose))[:-1])
    pieces = tuple((_adjusted(x[here], inverse), x[here]) for here in rows)
    influence = np.stack([adjusted.T @ left[here] for (adjusted, _), here in zip(pieces, rows, strict=True)])
    spread = left @ left > ROUNDING**2 * (y @ y)
    return ClusteredFit(
        coefficient=beta,
        covariance=influence.T @ influence if clusters > 1 and spread else np.full((p, p), np.nan),
        inverse=inverse,
        pieces=pieces,
        residual=float(np.sqrt(left @ left / max(n - terms, 1))),
        level=level,
        notes=few_clusters(clusters) if clusters > 1 else (one_cluster(),),
    )


def _adjusted(x: np.ndarray, inverse: np.ndarray) -> np.ndarray:
    """(I − H)^(−1/2) · x · (x'x)⁻¹ of one cluster; directions that the cluster decides alone are left out."""
    leverage = x @ inverse @ x.T
    values, axes = np.linalg.eigh(np.eye(len(x)) - leverage)
    root = np.where(values > ROUNDING, 1 / np.sqrt(np.maximum(values, ROUNDING)), 0.0)
    return (axes * root) @ axes.T @ x @ inverse


def _none(p: int, level: float) -> ClusteredFit:
    nothing = np.full((p, p), np.nan)
    text = "Columns follow from each other, or are more than the rows: no least squares fit."
    return ClusteredFit(
        coefficient=np.full(p, np.nan),
        covariance=nothing,
        inverse=nothing,
        pieces=(),
        residual=np.nan,
        level=level,
        notes=(Note(code="SINGULAR", text=text),),
    )


NO_ERROR = 1e-12


def share_difference(
    events: ArrayLike, exposed: ArrayLike, cluster: ArrayLike, *, stratum: ArrayLike | None = None, level: float = 0.95
) -> Interval:
    """Share with an event among the exposed minus that among the others, one row a unit (0 or 1 each).

    With `stratum` (a label a row) the difference within strata with weights n₁n₀/(n₁+n₀) (Mantel–Haenszel), as in a
    linear model with an effect for each stratum; strata without both groups say nothing. Sandwich error by cluster
    with the factor G/(G−1) · (N−1)/(N−strata−1), t with G − 1 degrees of freedom; limits within −1 and 1. NaN and a
    note where there is nothing to compare. Liang KY, Zeger SL. Biometrika 1986;73:13-22 (from memory).
    Raises StatisticsError for anything but 0 and 1.
    """
    level = checks.confidence_level(level)
    checks.one_length(events=events, exposed=exposed, cluster=cluster, stratum=stratum)
    y, x = (checks.events_of(each, np.ones(np.size(each)))[0] for each in (events, exposed))
    label = np.zeros(y.size, dtype=np.intp) if stratum is None else places(checks.labels("stratum", stratum))
    telling = _with_both(x, label)
    if not telling.any():
        return Interval(estimate=np.nan, low=np.nan, high=np.nan, notes=(_nothing(stratum is not None),))
    whose = places(checks.labels("cluster", cluster)[telling])
    return _difference(y[telling], x[telling], places(label[telling]), whose, level)


def _with_both(x: np.ndarray, label: np.ndarray) -> np.ndarray:
    """Which units lie in a stratum that holds exposed and others."""
    exposed = np.bincount(label, weights=x)
    others = np.bincount(label, weights=1 - x)
    return ((exposed > 0) & (others > 0))[label]


def _difference(y: np.ndarray, x: np.ndarray, label: np.ndarray, whose: np.ndarray, level: float) -> Interval:
    centred_y, centred_x = (each - _means_by_label(each, label)[label] for each in (y, x))
    spread = np.sum(centred_x**2)
    gap = float(np.sum(centred_x * y) / spread)
    clusters, strata = int(whose.max()) + 1, int(label.max()) + 1
    freedom = y.size - strata - 1
    if clusters < 2:
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(one_cluster(),))
    summed = np.bincount(whose, weights=centred_x * (centred_y - gap * centred_x)) / spread
    factor = clusters / (clusters - 1) * (y.size - 1) / max(freedom, 1)
    error = np.sqrt(factor * np.sum(summed**2))
    if freedom < 1 or error < NO_ERROR:
        return Interval(estimate=gap, low=np.nan, high=np.nan, notes=(_no_spread(),))
    half = special.stdtrit(clusters - 1, (1 + level) / 2) * error
    return Interval(
        estimate=gap, low=float(max(gap - half, -1.0)), high=float(min(gap + half, 1.0)), notes=few_clusters(clusters)
    )


def _means_by_label(values: np.ndarray, label: np.ndarray) -> np.ndarray:
    return over(np.bincount(label, weights=values), np.bincount(label))


def _nothing(stratified: bool) -> Note:
    where = "No stratum holds" if stratified else "There are not"
    return Note(code="NO_OVERLAP", text=f"{where} units of both groups: there is no difference to estimate.")


def _no_spread() -> Note:
    text = "Units of one group and stratum all ended alike: the difference has no limits."
    return Note(code="ZERO_EVENTS", text=text)


REPLICATES, SEED = 9_999, 20_240_229
TIES, AT_ONCE = 1e-9, 1_000


@dataclass(frozen=True, kw_only=True)
class PermutationTest:
    """The sum over groups of the labelled values less the group's mean, and its two-sided p; NaN where labels cannot
    be exchanged. `groups` are those that hold both kinds of label."""

    statistic: float
    p_value: float
    groups: int
    replicates: int


def permute_within(
    values: ArrayLike, label: ArrayLike, groups: ArrayLike, *, replicates: int = REPLICATES, seed: int = SEED
) -> PermutationTest:
    """Exchange `label` (n,), 0 or 1, within each group and compare the sum of the labelled `values` (n,).

    p = (1 + how many of `replicates` random exchanges lie as far out) / (1 + replicates). Pesarin F, Salmaso L.
    Permutation Tests for Complex Data. 2010. Groups with one kind of label say nothing. The same answer on every run.
    """
    y, x = checks.finite("values", values), checks.counts("label", label)
    checks.one_length(values=y, label=x, groups=groups)
    checks.refuse("label", x, x > 1, "is neither 0 nor 1.")
    whose = places(checks.labels("groups", groups))
    size, labelled = np.bincount(whose), np.bincount(whose, weights=x)
    keep = ((labelled > 0) & (labelled < size))[whose] if y.size else np.zeros(0, dtype=bool)
    if not keep.any():
        return PermutationTest(statistic=np.nan, p_value=np.nan, groups=0, replicates=0)
    order = np.lexsort((x[keep], y[keep], whose[keep]))  # so that the order of rows does not matter
    y, x, whose = y[keep][order], x[keep][order], places(whose[keep][order])
    centred = y - (np.bincount(whose, weights=y) / np.bincount(whose))[whose]
    found = float(centred @ x)
    far = _further_out(centred, x, whose, abs(found) - TIES, replicates, checks.seed(seed))
    return PermutationTest(
        statistic=found, p_value=(1 + far) / (1 + replicates), groups=int(whose.max()) + 1, replicates=replicates
    )


def _further_out(centred: np.ndarray, x: np.ndarray, whose: np.ndarray, limit: float, replicates: int, rng) -> int:
    """In how many random exchanges the sum lies at least so far from 0; rows are sorted by group."""
    starts = np.flatnonzero(np.append(True, whose[1:] != whose[:-1]))
    dealt_first = np.arange(x.size) - starts[whose] < np.bincount(whose, weights=x)[whose]
    far = 0
    for start in range(0, replicates, AT_ONCE):
        shuffled = np.argsort(whose + rng.random((min(AT_ONCE, replicates - start), x.size)), axis=1)
        far += int(np.count_nonzero(np.abs(centred[shuffled] @ dealt_first) >= limit))
    return far
