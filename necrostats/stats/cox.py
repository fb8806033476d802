"""Cox's model of a cause-specific hazard, with errors that allow for rows that belong together.

Written here because other Python packages lack robust errors with late entry, or take the wrong risk set there.

Cox's partial likelihood with ties, late entry and strata: its height, slope, bend and each row's score.

Does a hazard ratio stay the same over time? The score test for coefficients that change with a function of time.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Test
from necrostats.stats.incidence import just_before, kaplan_meier
from necrostats.stats.interval_sums import over_points, over_stretches
from necrostats.stats.intervals import notes_on, places


@dataclass(frozen=True, kw_only=True, eq=False)
class RiskSets:
    """Rows (n,) at risk on (start, stop] within strata, and the times at which events happened (E,), by stratum.

    `start` and `stop` are places on one axis that runs over times within strata, `start` −1 or more below the first;
    `stratum` (n,) is its number, from 0. `late`: some rows enter late. Covariates are centred within strata, which
    changes nothing in the likelihood and keeps its digits.
    `covariates` (n, p). `breslow`: tied events all meet the same risk set; else Efron's average over their order.
    """

    covariates: np.ndarray
    event: np.ndarray
    start: np.ndarray
    stop: np.ndarray
    stratum: np.ndarray
    late: bool = False
    breslow: bool = False

    @cached_property
    def times(self) -> np.ndarray:
        """The places at which events happened (E,), in order."""
        return np.unique(self.stop[self.event])

    @cached_property
    def tied(self) -> np.ndarray:
        """How many events there were at each of them (E,)."""
        return np.bincount(self.group[self.event], minlength=self.times.size)

    @cached_property
    def group(self) -> np.ndarray:
        """For each row the place of its own stop among `times`, or of the next (n,)."""
        return np.searchsorted(self.times, self.stop)

    @cached_property
    def of_event(self) -> np.ndarray:
        """For each event, in order of time, the place of its time (D,)."""
        return np.repeat(np.arange(self.times.size), self.tied)

    @cached_property
    def fraction(self) -> np.ndarray:
        """For each event the share of its tied events that has already left the risk set (D,)."""
        if self.breslow:
            return np.zeros(self.of_event.size)
        first = np.cumsum(self.tied) - self.tied
        return (np.arange(self.of_event.size) - first[self.of_event]) / self.tied[self.of_event]

    @cached_property
    def _by_stop(self) -> np.ndarray:
        return np.argsort(self.stop, kind="stable")

    @cached_property
    def stretch(self) -> tuple[np.ndarray, np.ndarray]:
        """The event times in each row's (start, stop], as the places of the first and of the one after the last."""
        return tuple(np.searchsorted(self.times, each, side="right") for each in (self.start, self.stop))

    @cached_property
    def simple(self) -> bool:
        """Whether all rows are of one stratum and enter at the start: running totals then only ever grow."""
        return not self.late and not self.stratum.any()

    def summed_at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sums of values (n, k) over the rows at risk at each event time (E, k)."""
        if not self.simple:
            return over_points(values, *self.stretch, self.times.size)
        total = np.cumsum(values[self._by_stop][::-1], axis=0)[::-1]
        return total[np.searchsorted(self.stop[self._by_stop], self.times)]

    def summed_while_at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sums of values of event times (E, k) over those in each row's (start, stop] (n, k)."""
        if not self.simple:
            return over_stretches(values, *self.stretch)
        return np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])[self.stretch[1]]

    def summed_events(self, values: np.ndarray) -> np.ndarray:
        """Sums of values (n, k) over the rows with an event at each event time (E, k)."""
        total = np.zeros((self.times.size, values.shape[1]))
        np.add.at(total, self.group[self.event], values[self.event])
        return total


@dataclass(frozen=True, kw_only=True, eq=False)
class Likelihood:
    """The log partial likelihood, its slope (p,) and information (p, p), with what each time gave:
    `surplus` (E, p), covariates of events beyond the mean at risk, and `spread` (E, p, p), their variance at risk."""

    height: float
    surplus: np.ndarray
    spread: np.ndarray

    @property
    def slope(self) -> np.ndarray:
        return self.surplus.sum(axis=0)

    @property
    def information(self) -> np.ndarray:
        return self.spread.sum(axis=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class _AtEvents:
    """For each event (D,): total risk, mean covariates (D, p) and variance (D, p, p) of the rows at risk."""

    total: np.ndarray
    mean: np.ndarray
    variance: np.ndarray


def likelihood(rows: RiskSets, beta: np.ndarray) -> Likelihood:
    """The partial likelihood at coefficients `beta` (p,). Efron B. J Am Stat Assoc 1977;72:557-565."""
    linear = _linear(rows, beta)
    at = _at_events(rows, np.exp(linear))
    if not (at.total > 0).all():
        return _out_of_reach(rows)
    height = float(linear[rows.event].sum() - np.sum(np.log(at.total)))
    expected = _by_time(rows, at.mean)
    seen = rows.summed_events(rows.covariates)
    return Likelihood(height=height, surplus=seen - expected, spread=_by_time(rows, at.variance))


def _out_of_reach(rows: RiskSets) -> Likelihood:
    """Coefficients so large that some risk set weighs nothing in double precision: never a peak."""
    e, p = rows.times.size, rows.covariates.shape[1]
    return Likelihood(height=-np.inf, surplus=np.zeros((e, p)), spread=np.zeros((e, p, p)))


def scores(rows: RiskSets, beta: np.ndarray) -> np.ndarray:
    """The score of each row (n, p): its events' surplus, less its share of what was expected while it was at risk.

    Lin DY, Wei LJ. J Am Stat Assoc 1989;84:1074-1078, with Efron's share for rows whose events are tied.
    """
    risk, x = np.exp(_linear(rows, beta)), rows.covariates
    at = _at_events(rows, risk)
    mean = _by_time(rows, at.mean) / rows.tied[:, None]
    rate, rate_mean = (_by_time(rows, each) for each in (1 / at.total, at.mean / at.total[:, None]))
    while_at_risk = x * rows.summed_while_at_risk(rate[:, None]) - rows.summed_while_at_risk(rate_mean)
    score = -risk[:, None] * while_at_risk
    own = rows.group[rows.event]
    share, share_mean = (
        _by_time(rows, rows.fraction / at.total),
        _by_time(rows, at.mean * (rows.fraction / at.total)[:, None]),
    )
    kept = risk[rows.event, None] * (x[rows.event] * share[own][:, None] - share_mean[own])
    score[rows.event] += x[rows.event] - mean[own] + kept
    return score


def _linear(rows: RiskSets, beta: np.ndarray) -> np.ndarray:
    """The linear predictor (n,), less its maximum in the stratum: the same likelihood, and exponents at most 1."""
    linear = rows.covariates @ beta
    most = np.full(int(rows.stratum.max(initial=0)) + 1, -np.inf)
    np.maximum.at(most, rows.stratum, linear)
    return linear - most[rows.stratum]


def _at_events(rows: RiskSets, risk: np.ndarray) -> _AtEvents:
    x = rows.covariates
    p = x.shape[1]
    products = (x[:, :, None] * x[:, None, :]).reshape(len(x), p * p)
    moments = risk[:, None] * np.concatenate([np.ones((len(x), 1)), x, products], axis=1)
    left = rows.fraction[:, None] * rows.summed_events(moments)[rows.of_event]
    each = rows.summed_at_risk(moments)[rows.of_event] - left
    total = np.where(each[:, 0] > 0, each[:, 0], 0.0)
    each = each / np.where(total > 0, total, 1.0)[:, None]
    mean = each[:, 1 : p + 1]
    variance = each[:, p + 1 :].reshape(-1, p, p) - mean[:, :, None] * mean[:, None, :]
    return _AtEvents(total=total, mean=mean, variance=variance)


def _by_time(rows: RiskSets, values: np.ndarray) -> np.ndarray:
    """Values of events (D, …) summed by time (E, …)."""
    first = np.cumsum(rows.tied) - rows.tied
    return np.add.reduceat(values, first, axis=0) if first.size else np.zeros((0, *values.shape[1:]))


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
    x = checks.finite("covariates", covariates)
    if not 1 <= x.ndim <= 2:
        raise StatisticsError("covariates needs a row for each time: give a list of numbers, or a table of them.")
    x = x[:, None] if x.ndim == 1 else x
    checks.one_length(time=time, event=event, entry=entry, strata=strata, covariates=x[:, 0] if x.size else time)
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
    when = checks.times("time", time)
    stops = np.empty(rows.times.size)
    stops[rows.group[rows.event]] = when[rows.event]
    course = TRANSFORMS[transform](stops, when, rows.event.astype(int), entry)
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
