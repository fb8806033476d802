"""Events over time at risk: rates with their limits, and counts regressed on covariates.

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
from necrostats.stats.intervals import (
    Interval,
    alike,
    all_alike,
    as_given,
    empty_denominators,
    few_clusters,
    notes_on,
    places,
    rising_root,
)

OVERDISPERSED_ABOVE = 1.2
CROWDED_ABOVE = 2
ROUNDING = 1e-9


def garwood(events: ArrayLike, exposure: ArrayLike, *, level: float = 0.95, per: float = 1.0) -> Interval:
    """Exact Poisson limits for `events` / `exposure` × `per`; numbers or arrays that broadcast.

    The lower limit is exactly 0 at no events; where exposure is 0, NaN and a note.
    Garwood F. Biometrika 1936;28:437-442. Raises StatisticsError for events without any exposure.
    """
    k, time = _events_and_exposure(events, exposure)
    tail = (1 - checks.confidence_level(level)) / 2
    scale = np.divide(checks.positive("per", per), time, out=np.full(k.shape, np.nan), where=time > 0)
    counts, place = np.unique(k.ravel(), return_inverse=True)
    lowest = np.where(counts > 0, special.gammaincinv(np.maximum(counts, 1.0), tail), 0.0)
    low, high = (each[place].reshape(k.shape) for each in (lowest, special.gammainccinv(counts + 1, tail)))
    return Interval(
        estimate=as_given(k * scale),
        low=as_given(low * scale),
        high=as_given(high * scale),
        notes=empty_denominators(time),
    )


def mid_p(events: ArrayLike, exposure: ArrayLike, *, level: float = 0.95, per: float = 1.0) -> Interval:
    """Mid-P Poisson limits: as Garwood's, with half the probability of what was seen in each tail.

    Inside Garwood's always; the lower limit is exactly 0 at no events; where exposure is 0, NaN and a note.
    Lancaster HO. J Am Stat Assoc 1961;56:223-234. Raises StatisticsError as `garwood` does.
    """
    k, time = _events_and_exposure(events, exposure)
    tail = (1 - checks.confidence_level(level)) / 2
    scale = np.divide(checks.positive("per", per), time, out=np.full(k.shape, np.nan), where=time > 0)
    counts, place = np.unique(k.ravel(), return_inverse=True)
    low, high = (limit[place].reshape(k.shape) for limit in _mid_p_means(counts, tail))
    return Interval(
        estimate=as_given(k * scale),
        low=as_given(low * scale),
        high=as_given(high * scale),
        notes=empty_denominators(time),
    )


@dataclass(frozen=True, kw_only=True)
class Dispersion:
    """Pearson's χ² over its degrees of freedom: 1 where counts vary as Poisson counts do; NaN if unknown."""

    estimate: float
    degrees_of_freedom: int
    notes: tuple[Note, ...] = ()


def dispersion(events: ArrayLike, exposure: ArrayLike) -> Dispersion:
    """Pearson dispersion of counts about one common rate; one row a unit (a patient), with its exposure.

    Rows without exposure say nothing and are passed over. A note says when it exceeds 1.2.
    McCullagh P, Nelder JA. Generalized Linear Models, 2nd ed. 1989, section 4.5.
    """
    k, time = _events_and_exposure(checks.listed("events", events), checks.listed("exposure", exposure))
    k, time = k[time > 0], time[time > 0]
    freedom = max(k.size - 1, 0)
    if not freedom or not k.sum():
        return Dispersion(estimate=np.nan, degrees_of_freedom=freedom, notes=(_unknown(k),))
    expected = time * (k.sum() / time.sum())
    value = float(np.sum((k - expected) ** 2 / expected) / freedom)
    return Dispersion(estimate=value, degrees_of_freedom=freedom, notes=_overdispersed(value))


def is_overdispersed(events: ArrayLike, exposure: ArrayLike) -> bool:
    """Whether counts by unit (a patient) crowd: Pearson dispersion above 1.2, or a unit with more than 2 events.

    Both limits are common practice, no source.
    """
    k, time = _events_and_exposure(checks.listed("events", events), checks.listed("exposure", exposure))
    if np.count_nonzero(time > 0) < 2 or not k.sum():
        return False
    return bool(k.max() > CROWDED_ABOVE or dispersion(k, time).estimate > OVERDISPERSED_ABOVE)


def clustered_rate(events: ArrayLike, exposure: ArrayLike, *, level: float = 0.95, per: float = 1.0) -> Interval:
    """A rate with limits robust to events that crowd in few units; one row a unit (G,), with its exposure.

    Ratio estimator r = Σy / Σt, error √(G/(G−1) Σ(y − r t)²) / Σt, on the log scale, t with G − 1 degrees of freedom.
    Cochran WG. Sampling Techniques, 3rd ed. 1977, section 6.3 (from memory). No events or fewer than two units:
    Garwood's limits, with a note. StatisticsError as for `garwood`.
    """
    k, time = _events_and_exposure(checks.listed("events", events), checks.listed("exposure", exposure))
    units, total, watched = int(np.count_nonzero(time > 0)), k.sum(), time.sum()
    if units < 2 or not total:
        exact = garwood(total, watched, level=level, per=per)
        return Interval(estimate=exact.estimate, low=exact.low, high=exact.high, notes=(*exact.notes, _unknown(k)))
    rate = total / watched
    error = np.sqrt(units / (units - 1) * np.sum((k - rate * time) ** 2)) / total
    if error <= ROUNDING:
        scaled = float(rate * checks.positive("per", per))
        return Interval(estimate=scaled, low=np.nan, high=np.nan, notes=(_flat(), *few_clusters(units)))
    width = np.exp(special.stdtrit(units - 1, (1 + checks.confidence_level(level)) / 2) * error)
    scaled = rate * checks.positive("per", per)
    return Interval(
        estimate=float(scaled), low=float(scaled / width), high=float(scaled * width), notes=few_clusters(units)
    )


def _events_and_exposure(events: ArrayLike, exposure: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    k, time = checks.broadcast(
        events=checks.counts("events", events), exposure=checks.not_negative("exposure", exposure)
    )
    if np.any((time == 0) & (k > 0)):
        raise StatisticsError("There are events where exposure is 0. Check the exposure of those rows.")
    return k, time


def _overdispersed(value: float) -> tuple[Note, ...]:
    if value <= OVERDISPERSED_ABOVE:
        return ()
    text = f"Counts vary {value:.1f} times as much as independent events would: exact limits are too narrow."
    return (Note(code="OVERDISPERSED", text=text),)


def _flat() -> Note:
    text = "Events are spread as evenly as exposure: their error cannot be estimated from how they crowd."
    return Note(code="SINGULAR", text=text)


def _unknown(k: np.ndarray) -> Note:
    if k.size < 2:
        return Note(code="SMALL_N", text="Fewer than two rows have any exposure: their spread cannot be estimated.")
    return Note(code="ZERO_EVENTS", text="No events: whether they cluster cannot be estimated.")


def _mid_p_means(k: np.ndarray, tail: float) -> tuple[np.ndarray, np.ndarray]:
    """The means at which the mid-probability of k or more is `tail`, and 1 − `tail`."""
    low, high = np.zeros(k.shape), np.full(k.shape, -np.log(2 * tail))
    some = k > 0
    low[some], high[some] = _mid_p_mean(k[some], tail), _mid_p_mean(k[some], 1 - tail)
    return low, high


def _mid_p_mean(k: np.ndarray, target: float) -> np.ndarray:
    """Between the means at which P(X ≥ k) and P(X > k) are `target`; found on their half sum."""

    def excess(mean: np.ndarray) -> np.ndarray:
        return (special.gammainc(k, mean) + special.gammainc(k + 1, mean)) / 2 - target

    def slope(mean: np.ndarray) -> np.ndarray:
        seen = np.exp(k * np.log(mean) - mean - special.gammaln(k + 1))
        return seen * (1 + k / mean) / 2

    return rising_root(excess, slope, special.gammaincinv(k, target), special.gammaincinv(k + 1, target))


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
    error, model_error = np.sqrt(np.diagonal(used)), np.sqrt(np.diagonal(model))
    flat = alike(error, model_error)
    error = np.where(flat, np.nan, error)
    notes = (all_alike(), *notes) if flat.any() else notes
    law = stats.t(freedom) if np.isfinite(freedom) else stats.norm()
    half, statistic = law.ppf((1 + level) / 2) * error, beta / error
    variance = mean + mean**2 / theta
    dispersion = float(np.sum((y - mean) ** 2 / variance) / (y.size - beta.size)) if y.size > beta.size else np.nan
    return CountFit(
        coefficient=beta,
        std_error=error,
        model_error=model_error,
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
    y, x = checks.counts("events", events), checks.columns("covariates", covariates)
    time = np.ones(y.size) if exposure is None else checks.not_negative("exposure", exposure)
    checks.one_length(events=y, exposure=time, covariates=np.arange(len(x)))
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
    some = np.maximum(y, 1.0)
    rising = np.where(y > 0, special.gammaln(some) - special.betaln(some, theta), 0.0)  # log of θ(θ+1)…(θ+y−1)
    grown = rising - special.gammaln(y + 1)
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
