"""The chance of an event at each session, given none before: a model of person-sessions."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import statsmodels.api as sm
from numpy.typing import ArrayLike
from scipy import special
from statsmodels.genmod.generalized_linear_model import GLMResults
from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks

LINKS = {"cloglog": sm.families.links.CLogLog, "logit": sm.families.links.Logit}
FEWEST_EVENTS = 5
LARGE = 15.0


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


def person_sessions(
    sessions: ArrayLike, event: ArrayLike, *, first: int = 1, cap: int | None = None
) -> PersonSessions:
    """Spread subjects (n,) over the sessions they were at risk in, from `first` to their last."""
    checks.one_length(sessions=sessions, event=event)
    last = checks.counts("sessions", sessions).astype(np.intp)
    happened = np.asarray(checks.codes("event", event)) > 0
    length = np.maximum(last - first + 1, 0)
    subject = np.repeat(np.arange(last.size), length)
    number = np.arange(subject.size) - np.repeat(np.cumsum(length) - length, length) + first
    return PersonSessions(
        subject=subject, session=number if cap is None else np.minimum(number, cap),
        event=happened[subject] & (number == last[subject]),
    )  # fmt: skip


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
    x = checks.finite("covariates", covariates)
    x = x[:, None] if x.ndim == 1 else x
    checks.one_length(sessions=sessions, covariates=x[:, 0] if x.size else sessions)
    rows = person_sessions(sessions, event, first=first, cap=cap)
    numbers, place = np.unique(rows.session, return_inverse=True)
    happened, at_risk = np.bincount(place, weights=rows.event), np.bincount(place)
    baseline = np.where(happened == 0, -np.inf, np.where(happened == at_risk, np.inf, np.nan))
    telling = np.isnan(baseline)
    kept = telling[place]
    events, width = int(rows.event.sum()), int(np.count_nonzero(telling))
    x = x.reshape(len(x), -1)
    design = np.hstack([np.eye(numbers.size)[place][:, telling], x[rows.subject]])[kept]
    notes = _refused(events, x.shape[1], fewest_events) or _collinear(design)
    fit, more = (None, ()) if notes else _fitted(rows.event[kept], design, link)
    total = width + x.shape[1]
    value, error = (np.full(total, np.nan),) * 2 if fit is None else (fit.params, fit.bse)
    value, error, separated = _separated(value, error, width)
    baseline[telling] = value[:width]
    return DiscreteHazard(
        link=link, sessions=numbers, baseline=baseline, baseline_error=_spread(error[:width], telling),
        coefficient=value[width:], std_error=error[width:], low=value[width:] - z * error[width:],
        high=value[width:] + z * error[width:], p_value=2 * special.ndtr(-np.abs(value[width:] / error[width:])),
        deviance=np.nan if fit is None else float(fit.deviance), person_sessions=rows.session.size, events=events,
        notes=notes + more + separated + _silent(numbers[~telling]),
    )  # fmt: skip
