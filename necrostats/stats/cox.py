"""Cox's model of a cause-specific hazard, with errors that allow for rows that belong together.

Written here because other Python packages lack robust errors with late entry, or take the wrong risk set there.
Does a hazard ratio stay the same over time? The score test for coefficients that change with a function of time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, special, stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Test
from necrostats.stats.incidence import just_before, kaplan_meier
from necrostats.stats.intervals import notes_on, places
from necrostats.stats.partial_likelihood import Likelihood, RiskSets, likelihood, scores

TIES = ("efron", "breslow")
FEWEST_EVENTS = 5
FLAT, ROUNDING = 1e-7, 1e-10
NOTHING = 1e-12
STEPS, HALVINGS = 60, 20


@dataclass(frozen=True, kw_only=True, eq=False)
class CoxFit:
    """Log hazard ratios (p,) a unit of each covariate, with limits, z and p-values.

    `std_error` is robust (the infinitesimal jackknife, by cluster) where clusters were given, `model_error` never.
    A coefficient without a peak is infinite and has neither. `log_likelihood` at its peak, `null` with no effect;
    `likelihood_ratio` tests all coefficients at once and holds even then. NaN stands where `notes` say why.
    """

    coefficient: np.ndarray
    std_error: np.ndarray
    model_error: np.ndarray
    covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    statistic: np.ndarray
    p_value: np.ndarray
    log_likelihood: float
    null: float
    likelihood_ratio: Test
    n: int
    events: int
    robust: bool
    notes: tuple[Note, ...] = ()


def cox(
    time: ArrayLike,
    event: ArrayLike,
    covariates: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    ties: str = "efron",
    fewest_events: float = FEWEST_EVENTS,
    level: float = 0.95,
) -> CoxFit:
    """Cox regression; one row a subject or a stretch of one: at risk on (entry, time], `event` yes or no at its end.

    `covariates` (n, p), numbers. For a cause-specific hazard the events of other causes are "no". `entry` 0 means from
    the very start; a covariate that changes takes a row for each stretch. `strata`, `cluster`: a label a row.
    Fewer than `fewest_events` events a covariate: no model, and a note; likewise where covariates repeat each other.
    Cox DR. J R Stat Soc B 1972;34:187-220; Lin DY, Wei LJ. J Am Stat Assoc 1989;84:1074-1078.
    """
    level = checks.confidence_level(level)
    rows, scale = risk_sets(time, event, covariates, entry=entry, strata=strata, ties=ties)
    p, events = scale.size, int(rows.of_event.size)
    whose = None if cluster is None else places(checks.labels("cluster", cluster))
    checks.one_length(time=rows.stop, cluster=whose)
    refused = _refused(rows, scale, events, fewest_events)
    if refused:
        return _empty(p, rows, events, whose is not None, refused)
    start, at, beta = _climbed(rows)
    endless = _endless(start, at, beta)
    model = _inverse(at.information, ~endless)
    used = model if whose is None else _sandwich(rows, beta, model, whose)
    fit = np.where(endless, np.copysign(np.inf, beta), beta / scale)
    error, model_error = (_errors(each) / scale for each in (used, model))
    half = special.ndtri((1 + level) / 2) * error
    return CoxFit(
        coefficient=fit,
        std_error=error,
        model_error=model_error,
        covariance=used / np.outer(scale, scale),
        low=np.where(endless, np.nan, fit - half),
        high=np.where(endless, np.nan, fit + half),
        statistic=np.where(endless, np.nan, fit / error),
        p_value=2 * special.ndtr(-np.abs(np.where(endless, np.nan, fit / error))),
        log_likelihood=at.height,
        null=start.height,
        likelihood_ratio=_ratio_test(at.height - start.height, p),
        n=rows.stop.size,
        events=events,
        robust=whose is not None,
        notes=_separated(endless) + (() if whose is None else notes_on(int(whose.max(initial=-1)) + 1)),
    )


def risk_sets(
    time: ArrayLike,
    event: ArrayLike,
    covariates: ArrayLike,
    *,
    entry: ArrayLike | None,
    strata: ArrayLike | None,
    ties: str,
) -> tuple[RiskSets, np.ndarray]:
    """Rows with covariates centred within strata and scaled, and the scale of each covariate (p,)."""
    if ties not in TIES:
        raise unknown_choice("way with ties", ties, TIES)
    x = checks.columns("covariates", covariates)
    checks.one_length(time=time, event=event, entry=entry, strata=strata, covariates=np.arange(len(x)))
    when, happened = checks.times("time", time), np.asarray(checks.codes("event", event)) > 0
    when, entered = checks.one_axis(when, None if entry is None else checks.times("entry", entry))
    since = np.full(when.size, -1.0) if entered is None else _entered(entered, when)
    stratum = np.zeros(when.size, dtype=np.intp) if strata is None else places(checks.labels("strata", strata))
    axis = np.unique(when)
    width = axis.size + 1
    centred = _centred(x, stratum) if x.size else x
    scale = np.sqrt(np.mean(centred**2, axis=0)) if x.size else np.zeros(x.shape[1])
    scale = np.where(scale > NOTHING * np.abs(x).max(axis=0, initial=0.0), scale, 0.0)
    return RiskSets(
        covariates=centred / np.where(scale > 0, scale, 1.0),
        event=happened,
        breslow=ties == "breslow",
        start=stratum * width + np.searchsorted(axis, since, side="right"),
        stop=stratum * width + 1 + np.searchsorted(axis, when),
        stratum=stratum,
        late=entry is not None and bool((since >= 0).any()),
    ), scale


def _centred(x: np.ndarray, stratum: np.ndarray) -> np.ndarray:
    """Covariates (n, p) less their mean in the stratum."""
    size = np.bincount(stratum)
    mean = np.stack([np.bincount(stratum, weights=each) / np.maximum(size, 1) for each in x.T], axis=1)
    return x - mean[stratum]


def _entered(entry: np.ndarray, when: np.ndarray) -> np.ndarray:
    since = np.where(entry > 0, entry, -1.0)
    checks.refuse("entry", entry, since >= when, "is not before its time, so nothing was observed in between.")
    return since


def _climbed(rows: RiskSets) -> tuple[Likelihood, Likelihood, np.ndarray]:
    """The likelihood with no effect and at its peak, and the peak (p,): Newton steps, halved where they overshoot."""
    beta = np.zeros(rows.covariates.shape[1])
    start = at = likelihood(rows, beta)
    for _ in range(STEPS):
        step = linalg.lstsq(at.information, at.slope)[0]
        tried = likelihood(rows, beta + step)
        for _ in range(HALVINGS):
            if tried.height >= at.height - 1e-12 * abs(at.height):
                break
            step = step / 2
            tried = likelihood(rows, beta + step)
        gained = tried.height - at.height
        if gained < 0 and abs(gained) > 1e-12 * abs(at.height):
            break
        beta, at = beta + step, tried
        if abs(gained) <= 1e-12 * (abs(at.height) + 1e-3) or _flat(start, at):
            break
    return start, at, beta


def _flat(start: Likelihood, at: Likelihood) -> bool:
    """Whether the likelihood has gone flat in a direction, so far that nothing more is to be gained there."""
    return bool(linalg.eigh(at.information, start.information, eigvals_only=True).min() < NOTHING)


def _endless(start: Likelihood, at: Likelihood, beta: np.ndarray) -> np.ndarray:
    """Which coefficients (p,) run along a direction in which the likelihood rises for ever, having gone flat."""
    left, axes = linalg.eigh(at.information, start.information)
    flat = axes[:, left < FLAT]
    if not flat.size:
        return np.zeros(beta.size, dtype=bool)
    along = flat / np.abs(flat).max(axis=0)
    return (np.abs(along) > 1e-3).any(axis=1)


def _inverse(information: np.ndarray, known: np.ndarray) -> np.ndarray:
    """Covariance (p, p) of the coefficients that have a peak; NaN for the others."""
    covariance = np.full(information.shape, np.nan)
    covariance[np.ix_(known, known)] = np.linalg.inv(information[np.ix_(known, known)])
    return covariance


def _sandwich(rows: RiskSets, beta: np.ndarray, model: np.ndarray, whose: np.ndarray) -> np.ndarray:
    known = ~np.isnan(np.diagonal(model))
    if whose.max() == 0 or not known.any():
        return np.full(model.shape, np.nan)
    each = scores(rows, beta)[:, known]
    summed = np.stack([np.bincount(whose, weights=one) for one in each.T], axis=1)
    moved = summed @ model[np.ix_(known, known)]
    covariance = np.full(model.shape, np.nan)
    covariance[np.ix_(known, known)] = moved.T @ moved
    return covariance


def _errors(covariance: np.ndarray) -> np.ndarray:
    """Standard errors; NaN where clusters are too few to differ, but for rounding."""
    variance = np.diagonal(covariance)
    return np.sqrt(np.where(variance > ROUNDING**2, variance, np.nan))


def _ratio_test(gained: float, p: int) -> Test:
    statistic = 2 * gained
    return Test(p_value=float(stats.chi2.sf(statistic, p)), test="likelihood ratio test", statistic=statistic)


def _refused(rows: RiskSets, scale: np.ndarray, events: int, fewest: float) -> tuple[Note, ...]:
    if not events:
        return (Note(code="ZERO_EVENTS", text="No events: there is no hazard to model."),)
    if events < fewest * scale.size:
        text = f"{events} events for {scale.size} coefficients, fewer than {fewest:g} for each: no model is fitted."
        return (Note(code="SMALL_N", text=text),)
    information = likelihood(rows, np.zeros(scale.size)).information
    if not scale.all() or linalg.eigvalsh(information).min() < 1e-10 * events:
        text = "A covariate is the same for all at risk, or follows from the others: no model is fitted."
        return (Note(code="SINGULAR", text=text),)
    return ()


def _separated(endless: np.ndarray) -> tuple[Note, ...]:
    if not endless.any():
        return ()
    which = ", ".join(str(place + 1) for place in np.flatnonzero(endless))
    text = (
        f"All events fall on one side of covariate {which}: its hazard ratio has no finite estimate, "
        "and only the likelihood ratio test holds."
    )
    return (Note(code="SEPARATION", text=text),)


def _empty(p: int, rows: RiskSets, events: int, robust: bool, notes: tuple[Note, ...]) -> CoxFit:
    none = np.full(p, np.nan)
    return CoxFit(
        coefficient=none,
        std_error=none,
        model_error=none,
        covariance=np.full((p, p), np.nan),
        low=none,
        high=none,
        statistic=none,
        p_value=none,
        log_likelihood=np.nan,
        null=np.nan,
        n=rows.stop.size,
        events=events,
        likelihood_ratio=Test(p_value=np.nan, test="likelihood ratio test"),
        robust=robust,
        notes=notes,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class ProportionalHazards:
    """χ² on one degree of freedom and p-value for each covariate (p,), and for all of them together.

    A small p-value says that a hazard ratio changed over time and one number does not describe it; a large one does
    not say that it stayed the same. NaN where `notes` say why.
    """

    statistic: np.ndarray
    p_value: np.ndarray
    global_statistic: float
    global_p_value: float
    degrees_of_freedom: int
    transform: str
    notes: tuple[Note, ...] = ()


def _kaplan_meier(times: np.ndarray, time, event, entry) -> np.ndarray:
    curve = kaplan_meier(time, event, entry=entry)
    return 1 - just_before(curve.estimate)[0, np.searchsorted(curve.table.time, times)]


def _ranks(times: np.ndarray, time, event, entry) -> np.ndarray:
    every = np.sort(time)
    return (np.searchsorted(every, times) + np.searchsorted(every, times, side="right") + 1) / 2


TRANSFORMS: dict[str, Callable] = {
    "km": _kaplan_meier,
    "rank": _ranks,
    "identity": lambda times, time, event, entry: times,
}


def proportional_hazards(
    time: ArrayLike,
    event: ArrayLike,
    covariates: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    ties: str = "efron",
    transform: str = "km",
    fewest_events: float = FEWEST_EVENTS,
) -> ProportionalHazards:
    """Score test of proportional hazards for the model that `cox` fits to the same arguments.

    `transform` of time: "km" (1 − Kaplan–Meier just before), "rank" (among all rows) or "identity". Where `cox` has
    no finite estimates there is no test. As R's cox.zph since survival 3.0.
    Grambsch PM, Therneau TM. Biometrika 1994;81:515-526.
    """
    if transform not in TRANSFORMS:
        raise unknown_choice("transform of time", transform, TRANSFORMS)
    fit = cox(time, event, covariates, entry=entry, strata=strata, ties=ties, fewest_events=fewest_events)
    p = fit.coefficient.size
    if not np.isfinite(fit.coefficient).all():
        none = np.full(p, np.nan)
        return ProportionalHazards(
            statistic=none,
            p_value=none,
            global_statistic=np.nan,
            global_p_value=np.nan,
            degrees_of_freedom=0,
            transform=transform,
            notes=fit.notes,
        )
    rows, scale = risk_sets(time, event, covariates, entry=entry, strata=strata, ties=ties)
    at = likelihood(rows, fit.coefficient * scale)
    when, since = checks.one_axis(checks.times("time", time), None if entry is None else checks.times("entry", entry))
    stops = np.empty(rows.times.size)
    stops[rows.group[rows.event]] = when[rows.event]
    course = TRANSFORMS[transform](stops, when, rows.event.astype(int), since)
    course = course - np.average(course, weights=rows.tied)
    each = np.array([_score_test(at, course, [place]) for place in range(p)])
    whole = _score_test(at, course, list(range(p)))
    return ProportionalHazards(
        statistic=each,
        p_value=stats.chi2.sf(each, 1),
        global_statistic=whole,
        global_p_value=float(stats.chi2.sf(whole, p)),
        degrees_of_freedom=p,
        transform=transform,
    )


def _score_test(at: Likelihood, course: np.ndarray, changing: list[int]) -> float:
    """χ² of adding, for the covariates named, their product with `course` (E,) of time."""
    p = at.slope.size
    score = np.concatenate([at.slope, (course @ at.surplus)[changing]])
    cross = np.tensordot(course, at.spread, axes=1)[:, changing]
    own = np.tensordot(course**2, at.spread, axes=1)[np.ix_(changing, changing)]
    information = np.block([[at.information, cross], [cross.T, own]])
    score[:p] = 0.0
    return float(score @ linalg.lstsq(information, score)[0])
