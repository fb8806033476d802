"""Regression of counts on covariates with time at risk: Poisson, and negative binomial where counts crowd.

statsmodels fits the means; the spread of the negative binomial is its maximum likelihood, found here on one axis.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import notes_on, places

FAMILIES = ("poisson", "negative binomial")
FEWEST_EVENTS = 5
EVEN = 1e8
SEPARATED = 20.0


@dataclass(frozen=True, kw_only=True, eq=False)
class CountFit:
    """Log rate ratios (p,), the intercept first, with errors, limits, z (t where clusters are few) and p.

    `model_error` is that of the likelihood; `std_error` is robust where clusters or `robust` were asked for.
    `dispersion` is Pearson's χ² over its degrees of freedom; `theta` that of the negative binomial (variance
    μ + μ²/θ), infinite for Poisson.
    """

    coefficient: np.ndarray
    std_error: np.ndarray
    model_error: np.ndarray
    low: np.ndarray
    high: np.ndarray
    statistic: np.ndarray
    p_value: np.ndarray
    dispersion: float
    theta: float
    log_likelihood: float
    notes: tuple[Note, ...] = ()


def count_regression(
    events: ArrayLike,
    covariates: ArrayLike,
    *,
    exposure: ArrayLike | None = None,
    family: str = "poisson",
    cluster: ArrayLike | None = None,
    robust: bool = False,
    level: float = 0.95,
) -> CountFit:
    """Counts (n,) on covariates (n, p), an intercept added; `exposure` (n,) is the time at risk, above 0.

    `family` "poisson" or "negative binomial" (NB2, theta by maximum likelihood, as R's MASS::glm.nb, whose errors take
    theta as known). `cluster`, a label a row: errors by cluster, G/(G − 1), t with G − 1 degrees of freedom. `robust`:
    errors without clusters, HC0. Fewer than 5 events a coefficient, or all on one side of a covariate: NaN and a note.
    McCullagh P, Nelder JA. Generalized Linear Models, 2nd ed. 1989; Lawless JF. Can J Stat 1987;15:209-225.
    """
    if family not in FAMILIES:
        raise unknown_choice("family of counts", family, FAMILIES)
    level = checks.confidence_level(level)
    y, design, time = _rows(events, covariates, exposure)
    whose = None if cluster is None else places(checks.labels("cluster", cluster))
    checks.one_length(events=y, cluster=whose)
    if refused := _refused(y, design):
        return _empty(design.shape[1], refused)
    theta = np.inf if family == "poisson" else _theta(y, design, time)
    beta, model = _fitted(y, design, time, theta)
    if np.abs(beta[1:]).max(initial=0) > SEPARATED:
        text = "All events fall on one side of a covariate: its ratio has no finite estimate."
        return _empty(design.shape[1], (Note(code="SEPARATION", text=text),))
    mean = time * np.exp(design @ beta)
    used, freedom, notes = _spread(y, design, mean, theta, model, whose, robust)
    error = np.sqrt(np.diagonal(used))
    law = stats.t(freedom) if np.isfinite(freedom) else stats.norm()
    half, statistic = law.ppf((1 + level) / 2) * error, beta / error
    variance = mean + mean**2 / theta
    dispersion = float(np.sum((y - mean) ** 2 / variance) / (y.size - beta.size)) if y.size > beta.size else np.nan
    return CountFit(
        coefficient=beta,
        std_error=error,
        model_error=np.sqrt(np.diagonal(model)),
        low=beta - half,
        high=beta + half,
        statistic=statistic,
        p_value=2 * law.sf(np.abs(statistic)),
        dispersion=dispersion,
        theta=float(theta),
        log_likelihood=_log_likelihood(y, mean, theta),
        notes=(*_about_spread(family, theta, dispersion, whose), *notes),
    )


def _rows(events: ArrayLike, covariates: ArrayLike, exposure: ArrayLike | None) -> tuple[np.ndarray, ...]:
    y, x = checks.counts("events", events), checks.finite("covariates", covariates)
    if not 1 <= x.ndim <= 2:
        raise StatisticsError("covariates needs a row for each count: give a list of numbers, or a table of them.")
    x = x[:, None] if x.ndim == 1 else x
    time = np.ones(y.size) if exposure is None else checks.not_negative("exposure", exposure)
    checks.one_length(events=y, exposure=time, covariates=x[:, 0] if x.shape[1] else y)
    checks.refuse("exposure", time, time == 0, "is 0, so nothing could be counted. Leave the row out and count it.")
    return y, np.column_stack([np.ones(y.size), x]), time


def _fitted(y: np.ndarray, design: np.ndarray, time: np.ndarray, theta: float) -> tuple[np.ndarray, np.ndarray]:
    from statsmodels.genmod.families import NegativeBinomial, Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    family = Poisson() if np.isinf(theta) else NegativeBinomial(alpha=1 / theta)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = GLM(y, design, family=family, offset=np.log(time)).fit(tol=1e-12, maxiter=200)
    beta = np.asarray(found.params)
    mean = time * np.exp(design @ beta)
    weight = mean / (1 + mean / theta)
    return beta, np.linalg.pinv((design * weight[:, None]).T @ design)


def _theta(y: np.ndarray, design: np.ndarray, time: np.ndarray) -> float:
    """The theta of the highest profile likelihood; infinite where counts vary no more than Poisson counts do."""

    def height(log_theta: float) -> float:
        theta = np.exp(log_theta)
        return -_log_likelihood(y, time * np.exp(design @ _fitted(y, design, time, theta)[0]), theta)

    grid = np.linspace(-6, np.log(EVEN), 25)
    heights = [height(each) for each in grid]
    best = int(np.argmin(heights))
    if best == grid.size - 1:
        return np.inf
    found = optimize.minimize_scalar(
        height, bounds=(grid[max(best - 1, 0)], grid[best + 1]), method="bounded", options={"xatol": 1e-10}
    )
    plain = _log_likelihood(y, time * np.exp(design @ _fitted(y, design, time, np.inf)[0]), np.inf)
    return np.inf if -found.fun <= plain + 1e-9 else float(np.exp(found.x))


def _log_likelihood(y: np.ndarray, mean: np.ndarray, theta: float) -> float:
    if np.isinf(theta):
        return float(np.sum(special.xlogy(y, mean) - mean - special.gammaln(y + 1)))
    grown = special.gammaln(y + theta) - special.gammaln(theta) - special.gammaln(y + 1)
    return float(np.sum(grown + special.xlogy(y, mean / (mean + theta)) - theta * np.log1p(mean / theta)))


def _spread(
    y: np.ndarray,
    design: np.ndarray,
    mean: np.ndarray,
    theta: float,
    model: np.ndarray,
    whose: np.ndarray | None,
    robust: bool,
) -> tuple[np.ndarray, float, tuple[Note, ...]]:
    """The covariance to use, its degrees of freedom (infinite: normal), and notes."""
    if whose is None and not robust:
        return model, np.inf, ()
    score = design * ((y - mean) / (1 + mean / theta))[:, None]
    if whose is None:
        moved = score @ model
        return moved.T @ moved, np.inf, ()
    clusters = int(whose.max(initial=-1)) + 1
    summed = np.stack([np.bincount(whose, weights=each) for each in score.T], axis=1) @ model
    if clusters < 2:
        return np.full(model.shape, np.nan), np.inf, notes_on(clusters)
    return clusters / (clusters - 1) * summed.T @ summed, float(clusters - 1), notes_on(clusters)


def _about_spread(family: str, theta: float, dispersion: float, whose: np.ndarray | None) -> tuple[Note, ...]:
    if family != "poisson" and np.isinf(theta):
        text = "Counts vary no more than Poisson counts do: theta is infinite and this is the Poisson model."
        return (Note(code="SINGULAR", text=text),)
    if family == "poisson" and whose is None and dispersion > 1.2:
        text = f"Counts vary {dispersion:.1f} times as much as the model has it: its errors are too small."
        return (Note(code="OVERDISPERSED", text=text),)
    return ()


def _refused(y: np.ndarray, design: np.ndarray) -> tuple[Note, ...]:
    if not y.sum():
        return (Note(code="ZERO_EVENTS", text="No events: there is no rate to model."),)
    if y.sum() < FEWEST_EVENTS * (design.shape[1] - 1):
        text = (
            f"{y.sum():.0f} events for {design.shape[1] - 1} coefficients, fewer than 5 for each: no model is fitted."
        )
        return (Note(code="SMALL_N", text=text),)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        text = "A covariate is the same for all, or follows from the others: no model is fitted."
        return (Note(code="SINGULAR", text=text),)
    return ()


def _empty(p: int, notes: Sequence[Note]) -> CountFit:
    none = np.full(p, np.nan)
    return CountFit(
        coefficient=none,
        std_error=none,
        model_error=none,
        low=none,
        high=none,
        statistic=none,
        p_value=none,
        dispersion=np.nan,
        theta=np.nan,
        log_likelihood=np.nan,
        notes=tuple(notes),
    )
