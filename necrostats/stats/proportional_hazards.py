"""Does a hazard ratio stay the same over time? The score test for coefficients that change with a function of time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.cox import FEWEST_EVENTS, cox, risk_sets
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.partial_likelihood import Likelihood, likelihood
from necrostats.stats.products import just_before


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
        return ProportionalHazards(statistic=none, p_value=none, global_statistic=np.nan, global_p_value=np.nan,
                                   degrees_of_freedom=0, transform=transform, notes=fit.notes)  # fmt: skip
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
        statistic=each, p_value=stats.chi2.sf(each, 1), global_statistic=whole,
        global_p_value=float(stats.chi2.sf(whole, p)), degrees_of_freedom=p, transform=transform,
    )  # fmt: skip


def _score_test(at: Likelihood, course: np.ndarray, changing: list[int]) -> float:
    """χ² of adding, for the covariates named, their product with `course` (E,) of time."""
    p = at.slope.size
    score = np.concatenate([at.slope, (course @ at.surplus)[changing]])
    cross = np.tensordot(course, at.spread, axes=1)[:, changing]
    own = np.tensordot(course**2, at.spread, axes=1)[np.ix_(changing, changing)]
    information = np.block([[at.information, cross], [cross.T, own]])
    score[:p] = 0.0
    return float(score @ linalg.lstsq(information, score)[0])
