"""The chance of an event at each session, given none before: a model of person-sessions."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.families.links import CLogLog, Logit
from statsmodels.genmod.generalized_linear_model import GLM
from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks

LINKS = {"cloglog": CLogLog, "logit": Logit}
FEWEST_EVENTS = 5
LARGE = 20.0


@dataclass(frozen=True, kw_only=True, eq=False)
class DiscreteHazard:
    """Coefficients on the scale of the link: one for each session number (K,), one for each covariate (p,).

    `sessions` (K,) the numbers, the last standing for it and all later ones. With link "cloglog" a covariate's
    coefficient is a log hazard ratio, with "logit" a log odds ratio per session. A session number without events, or
    with nothing but events, has an infinite coefficient and tells nothing about the covariates.
    """

    link: str
    sessions: np.ndarray
    baseline: np.ndarray
    baseline_error: np.ndarray
    coefficient: np.ndarray
    std_error: np.ndarray
    low: np.ndarray
    high: np.ndarray
    p_value: np.ndarray
    deviance: float
    person_sessions: int
    events: int
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class PersonSessions:
    """One row a subject and session (N,): the subject's place, the session number (capped), and whether it ended in
    an event."""

    subject: np.ndarray
    session: np.ndarray
    event: np.ndarray


def person_sessions(sessions: ArrayLike, event: ArrayLike, *, first: int = 1, cap: int | None = None) -> PersonSessions:
    """Spread subjects (n,) over the sessions they were at risk in, from `first` to their last."""
    checks.one_length(sessions=sessions, event=event)
    last = checks.counts("sessions", sessions).astype(np.intp)
    happened = np.asarray(checks.codes("event", event)) > 0
    length = np.maximum(last - first + 1, 0)
    subject = np.repeat(np.arange(last.size), length)
    number = np.arange(subject.size) - np.repeat(np.cumsum(length) - length, length) + first
    return PersonSessions(
        subject=subject,
        session=number if cap is None else np.minimum(number, cap),
        event=happened[subject] & (number == last[subject]),
    )


def discrete_hazard(
    sessions: ArrayLike,
    event: ArrayLike,
    covariates: ArrayLike,
    *,
    link: str = "cloglog",
    first: int = 1,
    cap: int | None = None,
    fewest_events: float = FEWEST_EVENTS,
    level: float = 0.95,
) -> DiscreteHazard:
    """Regression of the chance of an event at each session; one row a subject: its last session number, whether the
    event ended it, and `covariates` (n, p).

    Events of other causes are "no". `first`: the first session number anybody is at risk at (0 where drainage alone
    can be enough). `cap`: this session and later ones share a baseline. Each subject has one event at most, so
    ordinary likelihood errors hold. Fewer than `fewest_events` events a covariate: no model, and a note.
    Prentice RL, Gloeckler LA. Biometrics 1978;34:57-67; Allison PD. Sociol Methodol 1982;13:61-98.
    """
    if link not in LINKS:
        raise unknown_choice("link", link, LINKS)
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    x = checks.columns("covariates", covariates)
    checks.one_length(sessions=sessions, event=event, covariates=np.arange(len(x)))
    rows = person_sessions(sessions, event, first=first, cap=cap)
    cells = _cells(rows)
    k, events = np.count_nonzero(cells.telling), int(rows.event.sum())
    kept = cells.telling[cells.place]
    design = np.hstack([np.eye(cells.telling.size)[cells.place][:, cells.telling], x[rows.subject]])[kept]
    refused = _refused(events, x.shape[1], fewest_events) or _collinear(design)
    fit = _Fit.none(design.shape[1], refused) if refused else _fitted(rows.event[kept], design, k, link)
    beta, error = fit.value[k:], fit.error[k:]
    return DiscreteHazard(
        link=link,
        sessions=cells.numbers,
        baseline=_spread(fit.value[:k], cells.telling, cells.endless),
        baseline_error=_spread(fit.error[:k], cells.telling, np.full(cells.numbers.size, np.nan)),
        coefficient=beta,
        std_error=error,
        low=beta - z * error,
        high=beta + z * error,
        p_value=2 * special.ndtr(-np.abs(beta / error)),
        deviance=fit.deviance,
        person_sessions=rows.session.size,
        events=events,
        notes=fit.notes + _silent(cells),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Cells:
    """Session numbers (K,), the place of each row's, which of them tell something, and what the others come to."""

    numbers: np.ndarray
    place: np.ndarray
    telling: np.ndarray
    endless: np.ndarray


def _cells(rows: PersonSessions) -> _Cells:
    numbers, place = np.unique(rows.session, return_inverse=True)
    happened, at_risk = np.bincount(place, weights=rows.event), np.bincount(place)
    none, all_of_them = happened == 0, happened == at_risk
    return _Cells(numbers=numbers, place=place, telling=~none & ~all_of_them, endless=np.where(none, -np.inf, np.inf))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Fit:
    value: np.ndarray
    error: np.ndarray
    deviance: float
    notes: tuple[Note, ...]

    @classmethod
    def none(cls, size: int, notes: tuple[Note, ...]) -> _Fit:
        return cls(value=np.full(size, np.nan), error=np.full(size, np.nan), deviance=np.nan, notes=notes)


def _fitted(event: np.ndarray, design: np.ndarray, k: int, link: str) -> _Fit:
    """The maximum-likelihood fit, columns scaled; infinite where a coefficient ran away."""
    scale = np.where(np.arange(design.shape[1]) < k, 1.0, design.std(axis=0))
    centre = np.where(np.arange(design.shape[1]) < k, 0.0, design.mean(axis=0))
    model = GLM(event.astype(float), (design - centre) / scale, family=Binomial(link=LINKS[link]()))
    back = np.diag(1 / scale)
    back[:k, k:] = -(centre / scale)[k:]
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        for expected in (PerfectSeparationWarning, ConvergenceWarning):
            warnings.simplefilter("ignore", expected)
        found = model.fit(tol=1e-12, maxiter=100)
        deviance, spread = float(found.deviance), np.sqrt(np.diagonal(found.cov_params()))
        value, error = back @ found.params, np.sqrt(np.diagonal(back @ found.cov_params() @ back.T))
    away = ~(spread < LARGE)
    endless = np.where(np.arange(value.size) < k, np.nan, np.copysign(np.inf, value))
    value, error = np.where(away, endless, value), np.where(away, np.nan, error)
    notes = _separated(away[k:])
    if not found.converged and not away.any():
        notes += (Note(code="NOT_CONVERGED", text="The model did not settle: its coefficients are approximate."),)
    return _Fit(value=value, error=error, deviance=deviance, notes=notes)


def _spread(values: np.ndarray, telling: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Values of the session numbers that tell something, among the others (K,)."""
    laid_out = np.array(others, dtype=float)
    laid_out[telling] = values
    return laid_out


def _refused(events: int, p: int, fewest: float) -> tuple[Note, ...]:
    if not events:
        return (Note(code="ZERO_EVENTS", text="No events: there is no hazard to model."),)
    if events < fewest * p:
        text = f"{events} events for {p} covariates, fewer than {fewest:g} for each: no model is fitted."
        return (Note(code="SMALL_N", text=text),)
    return ()


def _collinear(design: np.ndarray) -> tuple[Note, ...]:
    if not design.size or np.linalg.matrix_rank(design / (np.abs(design).max(axis=0) + 1e-300)) == design.shape[1]:
        return ()
    text = "A covariate is the same for all, or follows from the others: no model is fitted."
    return (Note(code="SINGULAR", text=text),)


def _separated(away: np.ndarray) -> tuple[Note, ...]:
    if not away.any():
        return ()
    which = ", ".join(str(place + 1) for place in np.flatnonzero(away))
    text = f"All events fall on one side of covariate {which}: it has no finite estimate and no limits."
    return (Note(code="SEPARATION", text=text),)


def _silent(cells: _Cells) -> tuple[Note, ...]:
    if cells.telling.all():
        return ()
    which = ", ".join(map(str, cells.numbers[~cells.telling]))
    text = f"Session number {which} had no events or nothing but events, and tells nothing about the covariates."
    return (Note(code="ZERO_EVENTS", text=text),)
