"""Logistic regression of units that come in clusters, with errors fit for few clusters.

statsmodels fits it; what it does not say (separation, a single cluster in an arm) is looked for here first.

Logistic regression by penalised likelihood: finite where an arm has no event, less biased where events are few.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.intervals import alike, all_alike, few_clusters, places

STRUCTURES = ("exchangeable", "independence")
ERRORS = {"bias-reduced": "bias_reduced", "robust": "robust"}
MOST_STEPS = 200
ENOUGH = 1e-10


@dataclass(frozen=True, kw_only=True, eq=False)
class ClusteredFit:
    """Coefficients (p,) on the log-odds scale, their errors, limits and p from t with G − p degrees of freedom.

    `correlation` is the one estimated within clusters (0 for independence). All are NaN, with a note, where the fit
    did not settle.
    """

    coefficients: np.ndarray
    std_errors: np.ndarray
    low: np.ndarray
    high: np.ndarray
    statistics: np.ndarray
    p_values: np.ndarray
    clusters: int
    degrees_of_freedom: int
    correlation: float
    notes: tuple[Note, ...] = ()


def logit_gee(
    outcome: ArrayLike,
    design: ArrayLike,
    cluster: ArrayLike,
    *,
    level: float = 0.95,
    structure: str = "exchangeable",
    errors: str = "bias-reduced",
) -> ClusteredFit:
    """Estimating equations for a yes/no `outcome` (n,) on the columns of `design` (n, p), in clusters (n,).

    `errors` "bias-reduced" (Mancl LA, DeRouen TA. Biometrics 2001;57:126-134; CR3) or "robust" (Liang KY, Zeger SL.
    Biometrika 1986;73:13-22). Raises StatisticsError for an outcome that is not 0 or 1, for columns that follow from
    each other, and for no more clusters than coefficients. It does not see separation: look for empty cells first.
    """
    if structure not in STRUCTURES:
        raise unknown_choice("working correlation", structure, STRUCTURES)
    if errors not in ERRORS:
        raise unknown_choice("kind of error", errors, ERRORS)
    y, columns = checks.counts("outcome", outcome), checks.finite("design", design)
    checks.refuse("outcome", y, y > 1, "is neither 0 nor 1.")
    label = checks.labels("cluster", cluster)
    checks.one_length(outcome=y, cluster=label)
    if columns.ndim != 2 or columns.shape[0] != y.size:
        raise StatisticsError("design needs a row for each outcome and a column for each coefficient.")
    place = places(label)
    clusters = int(place.max(initial=-1)) + 1
    _enough(clusters, columns)
    order = np.argsort(place, kind="stable")
    fitted = _fitted(y[order], columns[order], place[order], structure, ERRORS[errors])
    return _clustered(fitted, clusters, checks.confidence_level(level))


def _enough(clusters: int, columns: np.ndarray) -> None:
    coefficients = columns.shape[1]
    if np.linalg.matrix_rank(columns) < coefficients:
        raise StatisticsError("A column of design follows from the others (or a group is empty): leave it out.")
    if clusters <= coefficients:
        raise StatisticsError(
            f"{clusters} clusters cannot carry {coefficients} coefficients: there must be more clusters than those."
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fitted:
    coefficients: np.ndarray
    std_errors: np.ndarray
    correlation: float
    settled: bool
    alike: bool = False


def _fitted(y: np.ndarray, columns: np.ndarray, place: np.ndarray, structure: str, errors: str) -> _Fitted:
    from statsmodels.genmod.cov_struct import Exchangeable, Independence
    from statsmodels.genmod.families import Binomial
    from statsmodels.genmod.generalized_estimating_equations import GEE

    within = Exchangeable() if structure == "exchangeable" else Independence()
    model = GEE(y, columns, groups=place, family=Binomial(), cov_struct=within)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            found = model.fit(maxiter=MOST_STEPS, ctol=ENOUGH, cov_type=errors)
        except np.linalg.LinAlgError:
            unknown = np.full(columns.shape[1], np.nan)
            return _Fitted(coefficients=unknown, std_errors=unknown, correlation=np.nan, settled=False)
        std_errors, share = np.asarray(found.bse), np.asarray(found.fittedvalues)
    settled = bool(found.converged) and np.isfinite(std_errors).all() and (std_errors > 0).all()
    correlation = float(within.dep_params) if structure == "exchangeable" else 0.0
    apart = np.linalg.pinv((columns * (share * (1 - share))[:, None]).T @ columns)
    flat = alike(std_errors, np.sqrt(np.diagonal(apart)))
    return _Fitted(
        coefficients=np.asarray(found.params),
        std_errors=np.where(flat, np.nan, std_errors),
        correlation=correlation,
        settled=bool(settled),
        alike=bool(flat.any()),
    )


def _clustered(fitted: _Fitted, clusters: int, level: float) -> ClusteredFit:
    freedom = clusters - fitted.coefficients.size
    blank = np.where(fitted.settled, 1.0, np.nan)
    coefficients, error = fitted.coefficients * blank, fitted.std_errors * blank
    half = special.stdtrit(freedom, (1 + level) / 2) * error
    statistics = coefficients / error
    notes = few_clusters(clusters) if fitted.settled else (_unsettled(),)
    notes = ((all_alike(),) if fitted.settled and fitted.alike else ()) + notes
    return ClusteredFit(
        coefficients=coefficients,
        std_errors=error,
        low=coefficients - half,
        high=coefficients + half,
        statistics=statistics,
        p_values=2 * special.stdtr(freedom, -np.abs(statistics)),
        clusters=clusters,
        degrees_of_freedom=freedom,
        correlation=fitted.correlation,
        notes=notes,
    )


def _unsettled() -> Note:
    return Note(code="NOT_CONVERGED", text="The model did not settle, so nothing is estimated from it.")


FIRTH_MOST_STEPS = 500
LONGEST_STEP = 5.0
FIRTH_ENOUGH = 1e-9
SETTLED = 1e-6
SLACK = 1e-13
FURTHEST = 50.0


@dataclass(frozen=True, kw_only=True, eq=False)
class FirthFit:
    """Coefficients (p,) on the log-odds scale, their Wald errors, profile limits, and penalised likelihood-ratio p.

    Limits and p are NaN where they were not asked for or not found; a note says when the fit did not settle.
    """

    coefficients: np.ndarray
    std_errors: np.ndarray
    low: np.ndarray
    high: np.ndarray
    p_values: np.ndarray
    notes: tuple[Note, ...] = ()


def firth_logistic(
    events: ArrayLike, n: ArrayLike, design: ArrayLike, *, level: float = 0.95, of: tuple[int, ...] | None = None
) -> FirthFit:
    """Firth's logistic regression: `events` of `n`, a row a unit or a pattern (r,), on the columns of `design` (r, p).

    Limits are those of the profile penalised likelihood, for the columns named in `of` (default: all). Units are
    taken as independent. Firth D. Biometrika 1993;80:27-38; Heinze G, Schemper M. Stat Med 2002;21:2409-2419.
    Raises StatisticsError for counts that cannot be, or columns that say the same thing twice.
    """
    k, total = checks.events_of(checks.listed("events", events), checks.listed("n", n))
    columns = checks.finite("design", design)
    if columns.ndim != 2 or columns.shape[0] != k.size or k.ndim != 1:
        raise StatisticsError("design needs a row for each row of events and a column for each coefficient.")
    data = _Data(events=k[total > 0], n=total[total > 0], design=columns[total > 0])
    if np.linalg.matrix_rank(data.design) < columns.shape[1]:
        raise StatisticsError("A column of design follows from the others (or a group is empty): leave it out.")
    best = _maximum(data)
    wanted = range(columns.shape[1]) if of is None else of
    cut = stats.chi2.ppf(checks.confidence_level(level), 1)
    low, high, p_values = (np.full(columns.shape[1], np.nan) for _ in range(3))
    for place in wanted:
        low[place], high[place] = (_limit(data, best, place, cut, sign) for sign in (-1, 1))
        drop = 2 * (best.value - _maximum(data, held=(place, 0.0)).value)
        p_values[place] = stats.chi2.sf(max(drop, 0.0), 1)
    return FirthFit(
        coefficients=best.at,
        std_errors=np.sqrt(np.diag(np.linalg.inv(_information(data, best.at)))),
        low=low,
        high=high,
        p_values=p_values,
        notes=() if best.settled else (_firth_unsettled(),),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Data:
    events: np.ndarray
    n: np.ndarray
    design: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class _Maximum:
    at: np.ndarray
    value: float
    settled: bool


def _probability(data: _Data, at: np.ndarray) -> np.ndarray:
    return special.expit(data.design @ at)


def _information(data: _Data, at: np.ndarray) -> np.ndarray:
    p = _probability(data, at)
    return (data.design * (data.n * p * (1 - p))[:, None]).T @ data.design


def _penalised(data: _Data, at: np.ndarray) -> float:
    """Log likelihood plus half the log determinant of the information (Jeffreys' prior)."""
    eta = data.design @ at
    likelihood = data.events @ special.log_expit(eta) + (data.n - data.events) @ special.log_expit(-eta)
    sign, log_determinant = np.linalg.slogdet(_information(data, at))
    return float(likelihood + log_determinant / 2) if sign > 0 else -np.inf


def _score(data: _Data, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The penalised score (p,), and its curvature (p, p) as if each row had half its leverage more of either outcome.

    Without that share steps are twice too long for a row of one unit, and go to and fro for ever.
    """
    p, inverse = _probability(data, at), np.linalg.inv(_information(data, at))
    leverage = np.einsum("ij,jk,ik->i", data.design, inverse, data.design) * data.n * p * (1 - p)
    curvature = (data.design * ((data.n + leverage) * p * (1 - p))[:, None]).T @ data.design
    return data.design.T @ (data.events - data.n * p + leverage * (0.5 - p)), curvature


def _maximum(data: _Data, held: tuple[int, float] | None = None, start: np.ndarray | None = None) -> _Maximum:
    """Newton steps on the penalised score, halved where they would lose; one coefficient may be held at a value."""
    at = np.zeros(data.design.shape[1]) if start is None else start.copy()
    free = np.ones(at.size, dtype=bool)
    if held is not None:
        at[held[0]], free[held[0]] = held[1], False
    value, longest = _penalised(data, at), 0.0
    for _ in range(FIRTH_MOST_STEPS if free.any() else 0):
        step = np.zeros(at.size)
        score, curvature = _score(data, at)
        step[free] = np.linalg.solve(curvature[np.ix_(free, free)], score[free])
        longest = float(np.abs(step).max())
        if longest < FIRTH_ENOUGH:
            break
        at, value, moved = _uphill(data, at, value, step * min(1.0, LONGEST_STEP / longest))
        if not moved:
            break
    return _Maximum(at=at, value=value, settled=longest < SETTLED)


def _uphill(data: _Data, at: np.ndarray, value: float, step: np.ndarray) -> tuple[np.ndarray, float, bool]:
    for _ in range(30):
        following = _penalised(data, at + step)
        if following > value - SLACK * (1 + abs(value)):
            return at + step, following, True
        step = step / 2
    return at, value, False


def _limit(data: _Data, best: _Maximum, place: int, cut: float, sign: int) -> float:
    """Where the profile has fallen by half the χ² quantile; infinite where it never does within e to the 50."""

    def beyond(value: float) -> float:
        start = np.where(np.arange(best.at.size) == place, value, best.at)
        return 2 * (best.value - _maximum(data, held=(place, value), start=start).value) - cut

    bracket = _bracket(beyond, best.at[place], sign)
    if bracket is None:
        return sign * np.inf
    return float(optimize.brentq(beyond, *sorted(bracket), xtol=1e-9))


def _bracket(beyond: Callable[[float], float], middle: float, sign: int) -> tuple[float, float] | None:
    inside, width = middle, 1.0
    while width <= FURTHEST:
        outside = middle + sign * width
        if beyond(outside) > 0:
            return inside, outside
        inside, width = outside, 2 * width
    return None


def _firth_unsettled() -> Note:
    return Note(code="NOT_CONVERGED", text="The penalised likelihood did not settle: read nothing into this estimate.")
