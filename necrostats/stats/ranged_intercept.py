"""Regression of values known exactly or only as ranges, with a normal intercept for each cluster."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import places
from necrostats.stats.ranged_likelihood import RangedModel, Sums, climb


@dataclass(frozen=True, kw_only=True, eq=False)
class RangedFit:
    """value = x · coefficient + an intercept a cluster (sd `between`) + a residual (sd `within`).

    `covariance` (p, p) of the coefficients, by the observed information; `robust` the same by sandwich, summed by
    cluster with G/(G−1). `between` is 0 where clusters do not differ (`singular`). NaN stands where `notes` say why.
    """

    coefficient: np.ndarray
    covariance: np.ndarray
    robust: np.ndarray
    between: float
    within: float
    log_likelihood: float
    singular: bool = False
    notes: tuple[Note, ...] = ()


def ranged_intercept(
    low: ArrayLike, high: ArrayLike, x: ArrayLike, groups: ArrayLike, *, spread: bool = True
) -> RangedFit:
    """Maximum likelihood for values (n,) between `low` (−∞ = open) and `high` (∞ = open), exact where equal.

    `x` (n, p), a column of ones among them if one is wanted; `groups`: a label a row. The intercept of each cluster is
    integrated out (stats/ranged_likelihood).
    Without `spread` clusters have no intercept of their own, and only `robust` allows for them.
    A row open on both sides says nothing. Raises StatisticsError for ranges from high to low.
    """
    checks.one_length(low=low, high=high, groups=groups)
    bottom, top = checks.numbers("low", low), checks.numbers("high", high)
    checks.refuse("high", top, ~(bottom <= top), "is missing or below its low.")
    design = checks.finite("x", x)
    whose = places(checks.labels("groups", groups))
    order = np.argsort(whose, kind="stable")
    model = RangedModel(low=bottom[order], high=top[order], x=design[order], whose=whose[order], spread=spread)
    if model.told < design.shape[1] + 2:
        text = f"{model.told} values for {design.shape[1]} coefficients and two spreads: no model is fitted."
        return _none(model, Note(code="SMALL_N", text=text))
    return _fitted(model)


def row_scores(low: ArrayLike, high: ArrayLike, x: ArrayLike) -> np.ndarray:
    """How far each value (n,) lies above what x (n, p) leads one to expect: the slope of its likelihood by its mean.

    For values known exactly the residual over the variance; NaN where no model settles.
    """
    bottom, top, design = checks.numbers("low", low), checks.numbers("high", high), checks.finite("x", x)
    model = RangedModel(low=bottom, high=top, x=design, whose=np.arange(bottom.size), spread=False)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        found = climb(model, model.start()) if model.told > design.shape[1] else None
        if found is None:
            return np.full(bottom.size, np.nan)
        at = found[0]
        return model.rows((design @ at[:-1])[:, None], at[-1]).slope[:, 0, 0]


def _fitted(model: RangedModel) -> RangedFit:
    with np.errstate(over="ignore", invalid="ignore", divide="ignore", under="ignore"):
        alone = climb(model.alone(), model.alone().start())
        if alone is None:
            text = f"The {model.told} values are known too loosely to settle on one model: none is shown."
            return _none(model, Note(code="NOT_CONVERGED", text=text))
        several = model.spread and model.clusters < model.told
        found = climb(model, np.append(alone[0], alone[0][-1] - 0.7)) if several else None
        if found is None or found[1].value < alone[1].value - 1e-9:
            return _result(model.alone(), *alone)
        return _result(model, *found)


def _result(model: RangedModel, at: np.ndarray, sums: Sums) -> RangedFit:
    p, inverse, g = model.p, np.linalg.inv(-sums.hessian), model.clusters
    influence = sums.scores @ inverse
    sd = float(np.exp(at[p + 1])) if model.spread else 0.0
    return RangedFit(
        coefficient=at[:p],
        covariance=inverse[:p, :p],
        robust=(influence.T @ influence)[:p, :p] * (g / (g - 1)) if g > 1 else np.full((p, p), np.nan),
        between=sd,
        within=float(np.exp(at[p])),
        log_likelihood=sums.value,
        singular=not model.spread,
    )


def _none(model: RangedModel, note: Note) -> RangedFit:
    nothing = np.full((model.p, model.p), np.nan)
    return RangedFit(
        coefficient=np.full(model.p, np.nan),
        covariance=nothing,
        robust=nothing,
        between=np.nan,
        within=np.nan,
        log_likelihood=np.nan,
        notes=(note,),
    )
