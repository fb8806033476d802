"""Logistic regression of units that come in clusters, with errors fit for few clusters.

statsmodels fits it; what it does not say (separation, a single cluster in an arm) is looked for here first.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import few_clusters, places

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
        std_errors = np.asarray(found.bse)
    settled = bool(found.converged) and np.isfinite(std_errors).all() and (std_errors > 0).all()
    correlation = float(within.dep_params) if structure == "exchangeable" else 0.0
    return _Fitted(
        coefficients=np.asarray(found.params), std_errors=std_errors, correlation=correlation, settled=bool(settled)
    )


def _clustered(fitted: _Fitted, clusters: int, level: float) -> ClusteredFit:
    freedom = clusters - fitted.coefficients.size
    blank = np.where(fitted.settled, 1.0, np.nan)
    coefficients, error = fitted.coefficients * blank, fitted.std_errors * blank
    half = special.stdtrit(freedom, (1 + level) / 2) * error
    statistics = coefficients / error
    notes = few_clusters(clusters) if fitted.settled else (_unsettled(),)
    return ClusteredFit(
        coefficients=coefficients, std_errors=error, low=coefficients - half, high=coefficients + half,
        statistics=statistics, p_values=2 * special.stdtr(freedom, -np.abs(statistics)), clusters=clusters,
        degrees_of_freedom=freedom, correlation=fitted.correlation, notes=notes,
    )  # fmt: skip


def _unsettled() -> Note:
    return Note(code="NOT_CONVERGED", text="The model did not settle, so nothing is estimated from it.")
