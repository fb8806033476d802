"""Ratios of two Poisson rates, given the events of both together.

Ratios of two rates whose events crowd in few units.

The odds ratio of two groups of units that come in clusters, by the model that their numbers allow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, two_sided
from necrostats.stats.comparisons.two_shares import FEW, NO_TEST, ChosenContrast
from necrostats.stats.gee import firth_logistic, logit_gee
from necrostats.stats.intervals import few_clusters, places
from necrostats.stats.proportions import clopper_pearson, mid_p

METHODS = {
    "exact": "conditional exact limits (Clopper–Pearson on the split of events)",
    "mid-P": "conditional mid-P limits",
}
TESTS = {
    "central": "conditional exact test of two rates (twice the smaller tail)",
    "mid-P": "conditional mid-P test of two rates (twice the smaller tail)",
    "minlike": "conditional exact test of two rates (splits no more probable than the one seen)",
}


def rate_ratio(
    events: float,
    exposure: float,
    events_ref: float,
    exposure_ref: float,
    *,
    level: float = 0.95,
    method: str = "exact",
    test: str | None = None,
) -> Contrast:
    """(events / exposure) / (events_ref / exposure_ref), independent Poisson counts, with limits and a p-value.

    Given all events, those of the group are binomial: limits for that share become limits for the ratio.
    `method` "exact" or "mid-P". `test` is "central", "mid-P" or, as R's poisson.test, "minlike"; by default the one
    that agrees with the limits. No events in the reference: the ratio and its upper limit are infinite. No events at
    all or no exposure in a group: NaN and a note. Raises StatisticsError for events without exposure.
    """
    test = test or ("mid-P" if method == "mid-P" else "central")
    _known(method, test)
    checks.confidence_level(level)
    a, b = _count("events", events), _count("events_ref", events_ref)
    time, time_ref = _exposure("exposure", exposure, a), _exposure("exposure_ref", exposure_ref, b)
    notes = _notes(a, b, time, time_ref)
    if not a + b or not time or not time_ref:
        return _contrast(np.full(3, np.nan), method, np.nan, test, notes)
    share = (mid_p if method == "mid-P" else clopper_pearson)(a, a + b, level=level)
    ratios = [_odds(value) * time_ref / time for value in (a / (a + b), share.low, share.high)]
    return _contrast(np.array(ratios), method, _p_value(a, a + b, time / (time + time_ref), test), test, notes)


def _known(method: str, test: str) -> None:
    if method not in METHODS:
        raise unknown_choice("method for a rate ratio", method, METHODS)
    if test not in TESTS:
        raise unknown_choice("test of two rates", test, TESTS)


def _count(name: str, value: float) -> int:
    return int(_single(name, checks.counts(name, value)))


def _exposure(name: str, value: float, events: int) -> float:
    time = float(_single(name, checks.not_negative(name, value)))
    if events and not time:
        raise StatisticsError(f"There are {events} events, but {name} is 0. Check both.")
    return time


def _single(name: str, array: np.ndarray) -> np.ndarray:
    if array.ndim:
        raise StatisticsError(f"{name} holds several numbers: this compares one pair of rates at a time.")
    return array


def _odds(share: float) -> float:
    return share / (1 - share) if share < 1 else np.inf


def _p_value(k: int, total: int, share: float, test: str) -> float:
    if test == "minlike":
        return float(stats.binomtest(k, total, share).pvalue)
    seen = stats.binom(total, share)
    spare = seen.pmf(k) / 2 if test == "mid-P" else 0.0
    return two_sided(seen.cdf(k) - spare, seen.sf(k - 1) - spare)


def _contrast(ratios: np.ndarray, method: str, p_value: float, test: str, notes: tuple[Note, ...]) -> Contrast:
    estimate, low, high = map(float, ratios)
    return Contrast(
        estimate=estimate,
        low=low,
        high=high,
        measure="rate ratio",
        method=METHODS[method],
        p_value=p_value,
        test=TESTS[test],
        notes=notes,
    )


def _notes(a: int, b: int, time: float, time_ref: float) -> tuple[Note, ...]:
    if not time or not time_ref:
        return (Note(code="SMALL_N", text="A group has no exposure: its rate is unknown, and nothing is shown."),)
    if not a + b:
        return (Note(code="ZERO_EVENTS", text="No events in either group: there is no ratio of their rates."),)
    if not b:
        return (Note(code="ZERO_EVENTS", text="No events in the reference: the ratio has a lower limit only."),)
    if not a:
        return (Note(code="ZERO_EVENTS", text="No events in the group: the ratio is 0 and has an upper limit only."),)
    return ()


FLAT = 1e-18
METHOD = "robust by unit on the log scale"
TEST = "Wald test of two rates, robust by unit, t with Welch's degrees of freedom"


def clustered_rate_ratio(
    events: ArrayLike, exposure: ArrayLike, events_ref: ArrayLike, exposure_ref: ArrayLike, *, level: float = 0.95
) -> Contrast:
    """The ratio of two rates, one row a unit (a patient) with its events and exposure; the two groups share no unit.

    Each rate is a ratio estimator with error √(G/(G−1) Σ(y − r t)²) / Σy on the log scale; the two are independent, and
    t has Welch's degrees of freedom. Cochran WG. Sampling Techniques, 3rd ed. 1977, section 6.3; Welch BL. Biometrika
    1947;34:28-35 (both from memory). No events in a group, or fewer than two units: NaN and a note.
    """
    checks.confidence_level(level)
    group, reference = _log_rate(events, exposure), _log_rate(events_ref, exposure_ref)
    if group is None or reference is None:
        text = "A group has no events or fewer than two units with exposure: a robust ratio cannot be estimated."
        return _clustered_contrast(np.full(3, np.nan), np.nan, (Note(code="ZERO_EVENTS", text=text),))
    variance = group.variance + reference.variance
    parts = [each.variance**2 / (each.units - 1) for each in (group, reference)]
    difference, error = group.value - reference.value, np.sqrt(variance)
    if min(group.variance, reference.variance) <= FLAT:
        text = "Events are spread as evenly as exposure in a group: its error cannot be estimated."
        return _clustered_contrast(np.exp([difference, np.nan, np.nan]), np.nan, (Note(code="SINGULAR", text=text),))
    freedom = variance**2 / sum(parts)
    half = special.stdtrit(freedom, (1 + level) / 2) * error
    p_value = 2 * special.stdtr(freedom, -abs(difference / error))
    notes = few_clusters(group.units + reference.units)
    return _clustered_contrast(np.exp(difference + np.array([0, -half, half])), float(p_value), notes)


@dataclass(frozen=True, kw_only=True)
class _LogRate:
    value: float
    variance: float
    units: int


def _log_rate(events: ArrayLike, exposure: ArrayLike) -> _LogRate | None:
    k = np.atleast_1d(checks.counts("events", events))
    time = np.atleast_1d(checks.not_negative("exposure", exposure))
    checks.one_length(events=k, exposure=time)
    if np.any((time == 0) & (k > 0)):
        raise StatisticsError("There are events where exposure is 0. Check the exposure of those rows.")
    units = int(np.count_nonzero(time > 0))
    if units < 2 or not k.sum():
        return None
    rate = k.sum() / time.sum()
    variance = units / (units - 1) * np.sum((k - rate * time) ** 2) / k.sum() ** 2
    return _LogRate(value=float(np.log(rate)), variance=float(variance), units=units)


def _clustered_contrast(ratios: np.ndarray, p_value: float, notes: tuple[Note, ...]) -> Contrast:
    estimate, low, high = map(float, ratios)
    return Contrast(
        estimate=estimate,
        low=low,
        high=high,
        measure="rate ratio",
        method=METHOD,
        p_value=p_value,
        test=TEST,
        notes=notes,
    )


GEE, FIRTH = "gee", "firth"
CLUSTERED_ODDS_METHODS = {
    GEE: "logistic estimating equations, exchangeable within clusters, bias-reduced errors, t with G − 2 degrees of "
    "freedom",
    FIRTH: "Firth's penalised likelihood, profile limits, units taken as independent",
}
CLUSTERED_ODDS_TESTS = {
    GEE: "Wald t-test of the logistic estimating equations",
    FIRTH: "penalised likelihood-ratio test",
}
FEWEST_CLUSTERS = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class ClusteredContrast(ChosenContrast):
    """A chosen contrast with the statistic of its test: t for estimating equations, else NaN."""

    statistic: float = np.nan


def clustered_odds_ratio(
    outcome: ArrayLike, in_group: ArrayLike, cluster: ArrayLike, *, level: float = 0.95, test: str | None = None
) -> ClusteredContrast:
    """The odds ratio of units in the group against the others: `outcome`, `in_group` 0/1 (n,), `cluster` labels (n,).

    By default estimating equations with bias-reduced errors; Firth's penalised likelihood, which takes units as
    independent, where a cell is empty or a group has fewer than 5 events. `test` "gee" or "firth" asks for one by name.
    No events or nothing but events in both, an empty group, or estimating equations with fewer than 2 clusters in a
    group: NaN and a note. Raises StatisticsError for values that are not 0 or 1, and for "gee" with an empty cell.
    """
    checks.confidence_level(level)
    if test is not None and test not in CLUSTERED_ODDS_TESTS:
        raise unknown_choice("test of units in clusters", test, CLUSTERED_ODDS_TESTS)
    y, group = (_yes_no(name, each) for name, each in (("outcome", outcome), ("in_group", in_group)))
    label = checks.labels("cluster", cluster)
    checks.one_length(outcome=y, in_group=group, cluster=label)
    cells = np.array([[np.sum((group == g) & (y == e)) for e in (1, 0)] for g in (1, 0)])
    if nothing := _nothing(cells):
        return _blank("", NO_TEST, nothing)
    chosen, rule = (test, "This model was asked for by name.") if test else _choice(cells)
    if chosen == FIRTH:
        return _firth(cells, rule, level)
    if not cells.all():
        raise StatisticsError(
            "A cell of the table is empty: estimating equations report an error that is far too small there. Use "
            'test "firth".'
        )
    return _gee(y, group, places(label), cells, rule, level)


def _yes_no(name: str, values: ArrayLike) -> np.ndarray:
    array = checks.counts(name, values)
    checks.refuse(name, array, array > 1, "is neither 0 nor 1.")
    return array


def _nothing(cells: np.ndarray) -> tuple[Note, ...]:
    if not cells.sum(axis=1).all():
        return (Note(code="SMALL_N", text="A group has nothing in it: nothing can be compared."),)
    if not cells.sum(axis=0).all():
        return (Note(code="ZERO_EVENTS", text="No events in either group, or nothing but events: no odds ratio."),)
    return ()


def _choice(cells: np.ndarray) -> tuple[str, str]:
    """The model, and the sentence that says why."""
    if not cells.all():
        return FIRTH, "Firth's penalised likelihood: a cell of the table is empty."
    fewest = int(cells[:, 0].min())
    if fewest < FEW:
        return FIRTH, f"Firth's penalised likelihood: a group has fewer than {FEW} events ({fewest})."
    return GEE, f"Estimating equations: each group has {FEW} events or more, and no cell of the table is empty."


def _firth(cells: np.ndarray, rule: str, level: float) -> ClusteredContrast:
    fit = firth_logistic(cells[:, 0], cells.sum(axis=1), [[1, 1], [1, 0]], level=level, of=(1,))
    notes = (Note(code="CLUSTER_IGNORED", text=_IGNORED), *fit.notes)
    if not cells.all():
        notes = (Note(code="SEPARATION", text=_SEPARATED), *notes)
    return ClusteredContrast(
        estimate=float(np.exp(fit.coefficients[1])),
        low=float(np.exp(fit.low[1])),
        high=float(np.exp(fit.high[1])),
        measure="odds ratio",
        method=CLUSTERED_ODDS_METHODS[FIRTH],
        p_value=float(fit.p_values[1]),
        test=CLUSTERED_ODDS_TESTS[FIRTH],
        rule=rule,
        notes=notes,
    )


_IGNORED = (
    "Units of one cluster are taken as independent, since events are too few to say how far they depend on each other: "
    "the limits may be too narrow."
)
_SEPARATED = "A cell of the table is empty: the odds ratio is pulled in from 0 or infinity by the penalty."


def _gee(
    y: np.ndarray, group: np.ndarray, cluster: np.ndarray, cells: np.ndarray, rule: str, level: float
) -> ClusteredContrast:
    if min(np.unique(cluster[group == side]).size for side in (0, 1)) < FEWEST_CLUSTERS:
        text = "A group has a single cluster in it: it cannot be told from its group."
        return _blank(CLUSTERED_ODDS_METHODS[GEE], rule, (Note(code="FEW_CLUSTERS", text=text),))
    if np.unique(cluster).size <= 2:
        text = "Two clusters cannot carry a comparison of two groups."
        return _blank(CLUSTERED_ODDS_METHODS[GEE], rule, (Note(code="FEW_CLUSTERS", text=text),))
    fit = logit_gee(y, np.column_stack([np.ones(y.size), group]), cluster, level=level)
    few = int(cells[:, 0].min())
    notes = fit.notes
    if few < FEW:
        text = f"A group has fewer than {FEW} events ({few}): estimating equations are not reliable there."
        notes = (Note(code="SMALL_N", text=text), *notes)
    return ClusteredContrast(
        estimate=float(np.exp(fit.coefficients[1])),
        low=float(np.exp(fit.low[1])),
        high=float(np.exp(fit.high[1])),
        measure="odds ratio",
        method=CLUSTERED_ODDS_METHODS[GEE],
        p_value=float(fit.p_values[1]),
        test=CLUSTERED_ODDS_TESTS[GEE],
        rule=rule,
        statistic=float(fit.statistics[1]),
        notes=notes,
    )


def _blank(method: str, rule: str, notes: tuple[Note, ...]) -> ClusteredContrast:
    return ClusteredContrast(
        estimate=np.nan, low=np.nan, high=np.nan, measure="odds ratio", method=method, rule=rule, notes=notes
    )
