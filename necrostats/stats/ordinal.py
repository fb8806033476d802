"""Ordered categories: the proportional odds model, with errors by cluster.

McCullagh P. J R Stat Soc B 1980;42:109-142.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import alike, all_alike, few_clusters, one_cluster, places

STEPS, HALVINGS, SETTLED, FAR = 60, 30, 1e-10, 15.0


@dataclass(frozen=True, kw_only=True)
class OrdinalContrast:
    """A sum of log odds ratios with t limits; NaN where they cannot be given."""

    estimate: float
    error: float = np.nan
    df: float = np.nan
    statistic: float = np.nan
    p_value: float = np.nan
    low: float = np.nan
    high: float = np.nan


@dataclass(frozen=True, kw_only=True, eq=False)
class OrdinalFit:
    """logit P(category ≤ k) = threshold[k] − x · coefficient: exp(coefficient) is the odds ratio of a higher category.

    `covariance` (p, p) is the sandwich by cluster with G/(G−1); `model_covariance` the inverse information.
    """

    coefficient: np.ndarray
    covariance: np.ndarray
    model_covariance: np.ndarray
    threshold: np.ndarray
    log_likelihood: float
    clusters: int
    level: float
    notes: tuple[Note, ...] = ()

    def contrast(self, vector: ArrayLike) -> OrdinalContrast:
        """vector (p,) · coefficient with limits of t, the number of clusters less one."""
        by, df = checks.finite("vector", vector), self.clusters - 1
        estimate, variance = float(by @ self.coefficient), float(by @ self.covariance @ by)
        if not (variance > 0 and df > 0):
            return OrdinalContrast(estimate=estimate)
        error = float(np.sqrt(variance))
        half = special.stdtrit(df, (1 + self.level) / 2) * error
        return OrdinalContrast(
            estimate=estimate,
            error=error,
            df=float(df),
            statistic=estimate / error,
            p_value=float(2 * special.stdtr(df, -abs(estimate / error))),
            low=estimate - half,
            high=estimate + half,
        )


def proportional_odds(category: ArrayLike, x: ArrayLike, groups: ArrayLike, *, level: float = 0.95) -> OrdinalFit:
    """Maximum likelihood of ordered categories (n,), whole numbers, on x (n, p) without a constant; `groups` (n,).

    Categories that do not occur are passed over. One category, or categories that x tells apart completely: no model,
    and a note. Raises StatisticsError for missing values.
    """
    level = checks.confidence_level(level)
    given, design = checks.counts("category", category), checks.columns("x", x)
    checks.one_length(category=given, x=np.arange(len(design)), groups=groups)
    whose = places(checks.labels("groups", groups))
    clusters = int(whose.max(initial=-1)) + 1
    kinds, code = np.unique(given, return_inverse=True)
    if kinds.size < 2 or np.linalg.matrix_rank(np.column_stack([np.ones(code.size), design])) <= design.shape[1]:
        text = "All categories are the same, or columns follow from each other: no model of ordered categories."
        return _none(design.shape[1], clusters, level, Note(code="SINGULAR", text=text))
    return _fitted(_Model(code, design, kinds.size - 1), whose, clusters, level)


class _Model:
    """Parameters: thresholds, then coefficients."""

    def __init__(self, code: np.ndarray, x: np.ndarray, cuts: int) -> None:
        self.code, self.x, self.cuts = code, x, cuts
        self.upper = np.stack([code == k for k in range(cuts)], axis=1).astype(float)
        self.lower = np.stack([code == k + 1 for k in range(cuts)], axis=1).astype(float)

    def start(self) -> np.ndarray:
        share = np.cumsum(np.bincount(self.code))[: self.cuts] / self.code.size
        return np.concatenate([special.logit(share), np.zeros(self.x.shape[1])])

    def parts(self, at: np.ndarray) -> tuple[np.ndarray, ...]:
        """Each row's probability, and densities and their slopes at its two edges (0 beyond the outermost)."""
        edges = at[: self.cuts]
        shift = self.x @ at[self.cuts :]
        top = np.where(self.code < self.cuts, self.upper @ edges - shift, np.inf)
        bottom = np.where(self.code > 0, self.lower @ edges - shift, -np.inf)
        a, b = special.expit(top), special.expit(bottom)
        return a - b, a * (1 - a), b * (1 - b), a * (1 - a) * (1 - 2 * a), b * (1 - b) * (1 - 2 * b)

    def height(self, at: np.ndarray) -> float:
        share = self.parts(at)[0]
        return float(np.log(share).sum()) if (share > 0).all() else -np.inf

    def scores(self, at: np.ndarray) -> np.ndarray:
        share, top, bottom, _, _ = self.parts(at)
        by_edge = (self.upper * top[:, None] - self.lower * bottom[:, None]) / share[:, None]
        return np.hstack([by_edge, -self.x * ((top - bottom) / share)[:, None]])

    def information(self, at: np.ndarray) -> np.ndarray:
        share, _, _, top, bottom = self.parts(at)
        score = self.scores(at)
        upper, lower = (np.hstack([edge, -self.x]) for edge in (self.upper, self.lower))
        return score.T @ score - (upper.T * (top / share)) @ upper + (lower.T * (bottom / share)) @ lower


def _fitted(model: _Model, whose: np.ndarray, clusters: int, level: float) -> OrdinalFit:
    at = _peak(model)
    cuts, p = model.cuts, model.x.shape[1]
    if at is None or np.abs(at[cuts:]).max(initial=0.0) > FAR:
        text = "One group has only the highest or only the lowest categories: no odds ratio can be settled on."
        return _none(p, clusters, level, Note(code="SEPARATION", text=text))
    inverse = np.linalg.inv(model.information(at))
    summed = np.stack([np.bincount(whose, weights=each) for each in model.scores(at).T], axis=1) @ inverse
    factor = clusters / (clusters - 1) if clusters > 1 else np.nan
    covariance, own = (factor * summed.T @ summed)[cuts:, cuts:], inverse[cuts:, cuts:]
    flat = alike(np.sqrt(np.diagonal(covariance)), np.sqrt(np.diagonal(own)))
    notes = few_clusters(clusters) if clusters > 1 else (one_cluster(),)
    return OrdinalFit(
        coefficient=at[cuts:],
        covariance=np.where(flat[:, None] | flat, np.nan, covariance),
        model_covariance=own,
        threshold=at[:cuts],
        log_likelihood=model.height(at),
        clusters=clusters,
        level=level,
        notes=(all_alike(), *notes) if flat.any() else notes,
    )


def _peak(model: _Model) -> np.ndarray | None:
    """Newton steps, halved until they rise; None where they settle nowhere."""
    at = model.start()
    with np.errstate(over="ignore", divide="ignore", invalid="ignore"):
        for _ in range(STEPS):
            try:
                step = np.linalg.solve(model.information(at), model.scores(at).sum(axis=0))
            except np.linalg.LinAlgError:
                return None
            if np.abs(step).max() < SETTLED:
                return at
            height = model.height(at)
            for _ in range(HALVINGS):
                if model.height(at + step) >= height - 1e-12 * abs(height):
                    break
                step = step / 2
            at = at + step
            if not np.isfinite(at).all() or np.abs(at).max() > 4 * FAR:
                return None
    return None


def _none(p: int, clusters: int, level: float, note: Note) -> OrdinalFit:
    nothing = np.full((p, p), np.nan)
    return OrdinalFit(
        coefficient=np.full(p, np.nan),
        covariance=nothing,
        model_covariance=nothing,
        threshold=np.array([]),
        log_likelihood=np.nan,
        clusters=clusters,
        level=level,
        notes=(note,),
    )
