"""Values known as ranges, several of a cluster: a normal model with a random intercept, and its likelihood.

The intercept is integrated out by adaptive Gauss–Hermite quadrature (15 nodes; 3 where no value is a range, which is
exact then). Pinheiro JC, Bates DM. J Comput Graph Stat 1995;4:12-35. Scores and Hessian are those of Louis:
Louis TA. J R Stat Soc B 1982;44:226-233.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import places
from necrostats.stats.parametric_times import SHAPES, RowTerms, row_terms

NODES, NODES_IF_EXACT = 15, 3
STEPS, SETTLED, LONGEST, HALVINGS = 80, 1e-8, 1.5, 30
STALLED, FLAT, FAR = 1e-5, 1e-8, 60.0
NO_SPREAD = -3.5  # log of the smallest ratio of the two standard deviations that is told from none
NORMAL = SHAPES["log-normal"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Sums:
    """Of one place in the space of parameters: log-likelihood, scores by cluster (G, k), their sum's Hessian (k, k)."""

    value: float
    scores: np.ndarray
    hessian: np.ndarray


class RangedModel:
    """Rows sorted by cluster. Parameters: coefficients, log residual sd, log sd between clusters (where `spread`)."""

    def __init__(self, *, low, high, x, whose, spread: bool = True) -> None:
        self.low, self.high, self.x, self.whose, self.spread = low, high, x, whose, spread
        self.starts = np.flatnonzero(np.append(True, whose[1:] != whose[:-1])) if whose.size else np.array([], int)
        self.told = int(np.count_nonzero(np.isfinite(low) | np.isfinite(high)))
        self.exact = low == high

    @property
    def nodes(self) -> int:
        """How many nodes integrate exactly, or nearly so."""
        return NODES_IF_EXACT if self.exact.all() else NODES

    @property
    def p(self) -> int:
        return self.x.shape[1]

    @property
    def size(self) -> int:
        return self.p + 1 + self.spread

    @property
    def clusters(self) -> int:
        return self.starts.size

    def alone(self) -> RangedModel:
        """The same without a spread between clusters."""
        return RangedModel(low=self.low, high=self.high, x=self.x, whose=self.whose, spread=False)

    def middles(self) -> np.ndarray:
        """A rough value for each row, to start from."""
        gap = np.log(4.0)
        low = np.where(np.isinf(self.low), np.where(np.isinf(self.high), 0.0, self.high) - gap, self.low)
        high = np.where(np.isinf(self.high), low + gap, self.high)
        return (low + high) / 2

    def start(self) -> np.ndarray:
        middle = self.middles()
        beta = np.linalg.lstsq(self.x, middle)[0]
        sd = np.log(max((middle - self.x @ beta).std(), 0.05))
        return np.concatenate([beta, [sd], [sd - 0.5] * self.spread])

    def summed(self, rows: np.ndarray) -> np.ndarray:
        """Rows (n, …) added up by cluster (G, …)."""
        return np.add.reduceat(rows, self.starts, axis=0)

    def rows(self, mean: np.ndarray, log_sd: float) -> RowTerms:
        """Terms of rows (n, Q) with means (n, Q)."""
        n, q = mean.shape
        low, high = np.repeat(self.low, q), np.repeat(self.high, q)
        found = row_terms(NORMAL, low, high, mean.ravel(), log_sd)
        value = found.value + np.where(low == high, low, 0.0)  # of the value, not of its exponential
        return RowTerms(
            value=value.reshape(n, q), slope=found.slope.reshape(n, q, 2), bend=found.bend.reshape(n, q, 2, 2)
        )

    def modes(self, fixed: np.ndarray, log_sd: float, sd: float) -> tuple[np.ndarray, np.ndarray]:
        """The likeliest intercept of each cluster (G,) and the standard deviation of its curvature (G,)."""
        at = np.zeros(self.clusters)
        for _ in range(50):
            found = self.rows((fixed + at[self.whose])[:, None], log_sd)
            slope = self.summed(found.slope[:, 0, 0]) - at / sd**2
            bend = self.summed(found.bend[:, 0, 0, 0]) - 1 / sd**2
            step = -slope / bend
            at = at + np.clip(step, -3.0, 3.0)
            if np.abs(step).max() < 1e-9:
                break
        return at, 1 / np.sqrt(-bend)

    def sums(self, at: np.ndarray) -> Sums:
        fixed, log_sd = self.x @ at[: self.p], at[self.p]
        if not self.spread:
            return self._combined(self.rows(fixed[:, None], log_sd), None, np.zeros((self.clusters, 1)))
        sd = np.exp(at[self.p + 1])
        mode, width = self.modes(fixed, log_sd, sd)
        node, weight = np.polynomial.hermite.hermgauss(self.nodes)
        where = mode[:, None] + np.sqrt(2) * width[:, None] * node
        prior = -0.5 * (where / sd) ** 2 - np.log(sd) - 0.5 * np.log(2 * np.pi)
        scale = np.log(weight) + node**2 + np.log(np.sqrt(2) * width)[:, None]
        return self._combined(self.rows(fixed[:, None] + where[self.whose], log_sd), (where / sd) ** 2, prior + scale)

    def _combined(self, found: RowTerms, squared: np.ndarray | None, extra: np.ndarray) -> Sums:
        """Louis' identities over the nodes of each cluster."""
        value = self.summed(found.value) + extra
        total = special.logsumexp(value, axis=1)
        share = np.exp(value - total[:, None])
        score = self._scores(found.slope, squared)
        mean = np.einsum("gq,gqk->gk", share, score)
        outer = np.einsum("gq,gqk,gql->kl", share, score, score) - mean.T @ mean
        return Sums(value=float(total.sum()), scores=mean, hessian=outer + self._bends(found.bend, squared, share))

    def _scores(self, slope: np.ndarray, squared: np.ndarray | None) -> np.ndarray:
        by_row = np.concatenate([self.x[:, None, :] * slope[..., :1], slope[..., 1:]], axis=2)
        score = self.summed(by_row)
        return score if squared is None else np.concatenate([score, (squared - 1)[..., None]], axis=2)

    def _bends(self, bend: np.ndarray, squared: np.ndarray | None, share: np.ndarray) -> np.ndarray:
        """The mean second derivatives of the complete likelihood."""
        each = np.einsum("nq,nqij->nij", share[self.whose], bend)
        design = np.concatenate([self.x, np.ones((len(self.x), 1))], axis=1)
        kind = np.append(np.zeros(self.p, int), 1)
        inner = np.einsum("nk,nkl,nl->kl", design, each[:, kind][:, :, kind], design)
        if squared is None:
            return inner
        whole = np.zeros((self.size, self.size))
        whole[:-1, :-1], whole[-1, -1] = inner, -2 * np.sum(share * squared)
        return whole


def climb(model: RangedModel, at: np.ndarray) -> tuple[np.ndarray, Sums] | None:
    """Newton steps, kept short and uphill; None where they settle nowhere."""
    here = model.sums(at)
    for _ in range(STEPS):
        slope, bend = here.scores.sum(axis=0), -here.hessian
        if not (np.isfinite(slope).all() and np.isfinite(bend).all()):
            return None
        values, axes = np.linalg.eigh(bend)
        step = axes @ (axes.T @ slope / np.maximum(np.abs(values), FLAT * model.told))
        firm = values.min() > FLAT * model.told
        if np.abs(step).max() < SETTLED and firm:
            return at, here
        step = step * min(1.0, LONGEST / np.abs(step).max())
        moved = _uphill(model, at, step, here)
        if moved is None:
            return (at, here) if np.abs(step).max() < STALLED and firm else None
        at, here = moved
        if model.spread and at[-1] - at[-2] < NO_SPREAD:
            return None
        if np.abs(at).max() > FAR:
            return None
    return None


def _uphill(model: RangedModel, at: np.ndarray, step: np.ndarray, here: Sums) -> tuple[np.ndarray, Sums] | None:
    for _ in range(HALVINGS):
        there = model.sums(at + step)
        if there.value > here.value - 1e-10 * (1 + abs(here.value)):
            return at + step, there
        step = step / 2
    return None


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
    design = checks.columns("x", x)
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
    bottom, top, design = checks.numbers("low", low), checks.numbers("high", high), checks.columns("x", x)
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
