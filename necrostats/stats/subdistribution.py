"""Fine and Gray's model of a subdistribution hazard: what covariates have to do with the incidence of one cause.

Who had another end stays at risk, with a weight that falls as those still under observation are censored. Written here
because no library in reach has it; the errors allow for the censoring weights being estimated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, special

from necrostats.errors import StatisticsError, unknown_choice
from necrostats.results import Note
from necrostats.stats import checks

STEPS, HALVINGS, ENOUGH = 60, 30, 1e-12
FEWEST_EVENTS = 5
SEPARATED, FLAT = 15.0, 1e-7


@dataclass(frozen=True, kw_only=True, eq=False)
class SubdistributionFit:
    """Log subdistribution hazard ratios (p,) with robust errors, limits, z and p.

    `hazard` (E,) are the steps of the baseline's cumulative subdistribution hazard at `times` (E,), for covariates of
    0. NaN stands where `notes` say why.
    """

    coefficient: np.ndarray
    std_error: np.ndarray
    covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    statistic: np.ndarray
    p_value: np.ndarray
    log_likelihood: float
    null: float
    times: np.ndarray
    hazard: np.ndarray
    n: int
    events: int
    notes: tuple[Note, ...] = ()

    def incidence(self, covariates: ArrayLike, times: ArrayLike) -> np.ndarray:
        """The predicted incidence (r, t) for each row of covariates (r, p) at each time (t,)."""
        rows = np.atleast_2d(checks.finite("covariates", covariates))
        if rows.shape[1] != self.coefficient.size:
            raise StatisticsError(f"covariates needs {self.coefficient.size} numbers a row, one for each coefficient.")
        cumulative = np.concatenate([[0.0], np.cumsum(self.hazard)])
        when = checks.snapped(checks.finite("times", times), self.times)
        at = cumulative[np.searchsorted(self.times, when, side="right")]
        return -np.expm1(-np.exp(rows @ self.coefficient)[:, None] * np.atleast_1d(at)[None, :])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Subjects:
    """Subjects (n,) in order of time: covariates (n, p), the time, whether the cause happened or another one did, and
    the share still uncensored just before (n,). `at` are the times (E,) of the cause, `tied` how often it happened."""

    x: np.ndarray
    time: np.ndarray
    happened: np.ndarray
    other: np.ndarray
    uncensored: np.ndarray
    at: np.ndarray
    tied: np.ndarray
    uncensored_at: np.ndarray

    @property
    def first(self) -> np.ndarray:
        """For each time of the cause the place of the first subject who ended then or later (E,)."""
        return np.searchsorted(self.time, self.at, side="left")


def fine_gray(
    time: ArrayLike,
    cause: ArrayLike,
    covariates: ArrayLike,
    *,
    of: int = 1,
    fewest_events: float = FEWEST_EVENTS,
    level: float = 0.95,
) -> SubdistributionFit:
    """The model for the cause numbered `of`; one row a subject, `cause` 0 censored, other numbers other ends.

    `covariates` (n, p), known at the start. Ties as Breslow's; errors as R's cmprsk::crr. A ratio above 1 goes with
    more of the cause by any time; it is not a ratio of rates among those still free, as Cox's model gives.
    Fewer than `fewest_events` events a covariate: no model, and a note. Fine JP, Gray RJ. J Am Stat Assoc
    1999;94:496-509. Raises StatisticsError for values that cannot be, ChoiceError for a cause that nobody had.
    """
    level = checks.confidence_level(level)
    subjects, centre, scale = _subjects(time, cause, covariates, of)
    if refused := _refused(subjects, scale, fewest_events):
        return _empty(subjects, scale.size, refused)
    null, top, beta = _climbed(subjects)
    if _is_flat(subjects, beta):
        text = "All events fall on one side of a covariate: its ratio has no finite estimate."
        return _empty(subjects, scale.size, (Note(code="SEPARATION", text=text),))
    covariance = _sandwich(subjects, beta) / np.outer(scale, scale)
    fit, error = beta / scale, np.sqrt(np.diagonal(covariance))
    half = special.ndtri((1 + level) / 2) * error
    return SubdistributionFit(
        coefficient=fit,
        std_error=error,
        covariance=covariance,
        low=fit - half,
        high=fit + half,
        statistic=fit / error,
        p_value=2 * special.ndtr(-np.abs(fit / error)),
        log_likelihood=top,
        null=null,
        times=subjects.at,
        hazard=subjects.tied / _moments(subjects, beta)[0] * np.exp(-centre @ fit),
        n=subjects.time.size,
        events=int(subjects.tied.sum()),
    )


def _subjects(
    time: ArrayLike, cause: ArrayLike, covariates: ArrayLike, of: int
) -> tuple[_Subjects, np.ndarray, np.ndarray]:
    """Subjects in order of time with covariates centred and scaled, and the centre and scale of each (p,)."""
    x = checks.columns("covariates", covariates)
    which = checks.codes("cause", cause)
    checks.one_length(time=time, cause=which, covariates=np.arange(len(x)))
    (when,) = checks.one_axis(checks.times("time", time))
    if of not in which:
        raise unknown_choice("cause", of, [str(each) for each in np.unique(which[which > 0]).tolist()])
    order = np.argsort(when, kind="stable")
    when, which, x = when[order].astype(float), np.asarray(which)[order], x[order]
    centre, scale = x.mean(axis=0), x.std(axis=0)
    at, tied = np.unique(when[which == of], return_counts=True)
    subjects = _Subjects(
        x=(x - centre) / np.where(scale > 0, scale, 1.0),
        time=when,
        happened=which == of,
        other=(which > 0) & (which != of),
        uncensored=_uncensored_before(when, which == 0, when),
        at=at,
        tied=tied,
        uncensored_at=_uncensored_before(when, which == 0, at),
    )
    return subjects, centre, scale


def _uncensored_before(time: np.ndarray, censored: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Kaplan–Meier of not yet being censored just before each time `at`; those who end on a day are at risk on it."""
    days, lost = np.unique(time[censored], return_counts=True)
    risk = time.size - np.searchsorted(time, days, side="left")
    left = np.concatenate([[1.0], np.cumprod(1 - lost / risk)])
    return left[np.searchsorted(days, at, side="left")]


def _risk(subjects: _Subjects, beta: np.ndarray) -> np.ndarray:
    return np.exp(subjects.x @ beta)


def _moments(subjects: _Subjects, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """At each time of the cause the weighted sums over those at risk of 1, x and xx' (E,), (E, p), (E, p, p)."""
    x, risk = subjects.x, _risk(subjects, beta)
    n, p = x.shape
    each = np.concatenate([np.ones((n, 1)), x, (x[:, :, None] * x[:, None, :]).reshape(n, p * p)], axis=1)
    each = each * risk[:, None]
    still = np.concatenate([np.cumsum(each[::-1], axis=0)[::-1], np.zeros((1, each.shape[1]))])[subjects.first]
    kept = each * np.where(subjects.other, 1 / np.maximum(subjects.uncensored, 1e-300), 0.0)[:, None]
    gone = np.concatenate([np.zeros((1, each.shape[1])), np.cumsum(kept, axis=0)])[subjects.first]
    total = still + subjects.uncensored_at[:, None] * gone
    return total[:, 0], total[:, 1 : p + 1], total[:, p + 1 :].reshape(-1, p, p)


def _likelihood(subjects: _Subjects, beta: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
    """The log-likelihood, its score (p,) and information (p, p)."""
    total, first, second = _moments(subjects, beta)
    mean = first / total[:, None]
    spread = second / total[:, None, None] - mean[:, :, None] * mean[:, None, :]
    seen = subjects.x[subjects.happened]
    height = float((seen @ beta).sum() - subjects.tied @ np.log(total))
    return height, seen.sum(axis=0) - subjects.tied @ mean, np.tensordot(subjects.tied, spread, axes=1)


def _climbed(subjects: _Subjects) -> tuple[float, float, np.ndarray]:
    """The log-likelihood with no effect and at its peak, and the peak (p,): Newton steps, halved if they overshoot."""
    beta = np.zeros(subjects.x.shape[1])
    null, score, information = _likelihood(subjects, beta)
    top = null
    for _ in range(STEPS):
        step = np.linalg.lstsq(information, score, rcond=None)[0]
        for _ in range(HALVINGS):
            tried = _likelihood(subjects, beta + step)
            if tried[0] >= top - ENOUGH * abs(top):
                break
            step = step / 2
        gained = tried[0] - top
        beta, (top, score, information) = beta + step, tried
        if abs(gained) <= ENOUGH * (abs(top) + 1) or np.abs(beta).max() > 2 * SEPARATED:
            break
    return null, top, beta


def _is_flat(subjects: _Subjects, beta: np.ndarray) -> bool:
    """Whether the likelihood has gone flat in some direction, so that it has no peak there."""
    start, end = (_likelihood(subjects, each)[2] for each in (np.zeros(beta.size), beta))
    return bool(linalg.eigh(end, start, eigvals_only=True).min() < FLAT) or bool(np.abs(beta).max() > SEPARATED)


def _sandwich(subjects: _Subjects, beta: np.ndarray) -> np.ndarray:
    """Covariance (p, p): each subject's score, and what the estimated weights add. Fine and Gray 1999, (7) and (8)."""
    inverse = np.linalg.inv(_likelihood(subjects, beta)[2])
    moved = (_own(subjects, beta) + _by_weights(subjects, beta)) @ inverse
    return moved.T @ moved


def _steps(subjects: _Subjects, beta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Steps of the baseline hazard (E,), the mean covariates (E, p), and running totals (E + 1, p + 1) of the steps and
    of steps times means."""
    total, first, _ = _moments(subjects, beta)
    mean, step = first / total[:, None], subjects.tied / total
    return step, mean, np.concatenate([step[:, None], step[:, None] * mean], axis=1)


def _running(values: np.ndarray) -> np.ndarray:
    return np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])


def _own(subjects: _Subjects, beta: np.ndarray) -> np.ndarray:
    """The score of each subject (n, p): its event less its share of what was expected while it was at risk."""
    x, risk = subjects.x, _risk(subjects, beta)
    _, mean, parts = _steps(subjects, beta)
    until = np.searchsorted(subjects.at, subjects.time, side="right")
    expected = _running(parts)[until]
    weighted = _running(parts * subjects.uncensored_at[:, None])
    after = (weighted[-1] - weighted[until]) / np.maximum(subjects.uncensored, 1e-300)[:, None]
    expected = expected + np.where(subjects.other[:, None], after, 0.0)
    score = -risk[:, None] * (x * expected[:, :1] - expected[:, 1:])
    own = np.searchsorted(subjects.at, subjects.time[subjects.happened])
    score[subjects.happened] += x[subjects.happened] - mean[own]
    return score


def _by_weights(subjects: _Subjects, beta: np.ndarray) -> np.ndarray:
    """What the estimate of the censoring weights adds to each subject's score (n, p).

    On one day, as cmprsk has it: other ends come before censorings, and events of the cause after them.
    """
    x, risk, time = subjects.x, _risk(subjects, beta), subjects.time
    _, _, parts = _steps(subjects, beta)
    censored = ~subjects.happened & ~subjects.other
    days, lost = np.unique(time[censored], return_counts=True)
    if not days.size:
        return np.zeros(x.shape)
    weight = np.where(subjects.other, risk / np.maximum(subjects.uncensored, 1e-300), 0.0)[:, None]
    gone = _running(np.concatenate([weight, weight * x], axis=1))[np.searchsorted(time, days, side="left")]
    weighted = _running(parts * subjects.uncensored_at[:, None])
    after = weighted[-1] - weighted[np.searchsorted(subjects.at, days, side="left")]
    moved = gone[:, 1:] * after[:, :1] - gone[:, :1] * after[:, 1:]
    at_risk = time.size - np.searchsorted(time, days, side="left")
    share = moved / at_risk[:, None]
    total = _running(share * (lost / at_risk)[:, None])
    adds = -total[np.searchsorted(days, time, side="right")]
    adds[censored] += share[np.searchsorted(days, time[censored])]
    return adds


def _refused(subjects: _Subjects, scale: np.ndarray, fewest: float) -> tuple[Note, ...]:
    events = int(subjects.tied.sum())
    if events < fewest * scale.size:
        text = f"{events} events for {scale.size} coefficients, fewer than {fewest:g} for each: no model is fitted."
        return (Note(code="SMALL_N", text=text),)
    information = _likelihood(subjects, np.zeros(scale.size))[2]
    if not scale.all() or np.linalg.eigvalsh(information).min() < 1e-10 * events:
        text = "A covariate is the same for all, or follows from the others: no model is fitted."
        return (Note(code="SINGULAR", text=text),)
    return ()


def _empty(subjects: _Subjects, p: int, notes: tuple[Note, ...]) -> SubdistributionFit:
    none = np.full(p, np.nan)
    return SubdistributionFit(
        coefficient=none,
        std_error=none,
        covariance=np.full((p, p), np.nan),
        low=none,
        high=none,
        statistic=none,
        p_value=none,
        log_likelihood=np.nan,
        null=np.nan,
        times=subjects.at,
        hazard=np.full(subjects.at.size, np.nan),
        n=subjects.time.size,
        events=int(subjects.tied.sum()),
        notes=notes,
    )
