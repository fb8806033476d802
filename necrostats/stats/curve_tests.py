"""Tests of whole curves between groups, made of one table of counts a stratum: what every such test shares.

Gray's test: do groups have one cumulative incidence of a cause, others competing? Also within strata.

The log-rank test and its Fleming–Harrington weights, also within strata.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.event_tables import EventTable, event_table, over
from necrostats.stats.incidence import event_free, incidence_shares, just_before

RANK, ROUNDING = 1e-9, 1e-12


@dataclass(frozen=True, kw_only=True, eq=False)
class CurveTest:
    """A test that groups have one curve: its χ² statistic, degrees of freedom and p-value, and the test by name.

    `observed` and `expected` (G,): weighted events of each group, and those it would have with one curve for all.
    `degrees_of_freedom` is 0 and the statistic NaN where nothing can be said; `notes` say why.
    """

    test: str
    groups: np.ndarray
    statistic: float
    degrees_of_freedom: int
    p_value: float
    observed: np.ndarray
    expected: np.ndarray
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Scores:
    """Observed and expected events (G,) and the covariance of their differences (G, G): they add up over strata."""

    observed: np.ndarray
    expected: np.ndarray
    covariance: np.ndarray

    def __add__(self, other: Scores) -> Scores:
        return Scores(
            observed=self.observed + other.observed,
            expected=self.expected + other.expected,
            covariance=self.covariance + other.covariance,
        )


def tables_by_stratum(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    group: ArrayLike,
    groups: Sequence | None,
    strata: ArrayLike | None,
    entry: ArrayLike | None = None,
    causes: Sequence | None = None,
) -> list[EventTable]:
    """One table of counts for each stratum, all with the same groups and causes."""
    checks.one_length(time=time, cause=cause, group=group, strata=strata, entry=entry)
    when, which, whose = checks.times("time", time), checks.codes("cause", cause), checks.labels("group", group)
    known = np.unique(whose) if groups is None else checks.names("groups", groups)
    named = np.arange(1, max(int(which.max(initial=1)), 1) + 1) if causes is None else causes
    since = None if entry is None else checks.times("entry", entry)
    stratum = np.zeros(when.size) if strata is None else checks.labels("strata", strata)
    return [
        event_table(
            when[rows],
            which[rows],
            group=whose[rows],
            groups=known,
            causes=named,
            entry=None if since is None else since[rows],
        )
        for rows in (stratum == each for each in (np.unique(stratum) if when.size else [0]))
    ]


def chi_squared_of(name: str, groups: np.ndarray, scores: Scores, took_part: np.ndarray, events: float) -> CurveTest:
    """The χ² test of scores, among groups that took part (G,): with somebody at risk when events happened."""
    notes = _who_took_part(groups, took_part, events)
    testable = events > 0 and np.count_nonzero(took_part) > 1
    statistic, freedom = _quadratic(scores, took_part) if testable else (np.nan, 0)
    if testable and not freedom:
        notes += (Note(code="NO_OVERLAP", text="No two groups were at risk at a time when events happened."),)
    return CurveTest(
        test=name,
        groups=groups,
        statistic=statistic,
        degrees_of_freedom=freedom,
        p_value=float(stats.chi2.sf(statistic, freedom)) if freedom else np.nan,
        observed=scores.observed,
        expected=scores.expected,
        notes=notes,
    )


def _quadratic(scores: Scores, took_part: np.ndarray) -> tuple[float, int]:
    """The quadratic form of the scores, on as many degrees of freedom as their covariance has."""
    gap = (scores.observed - scores.expected)[took_part][:-1]
    covariance = scores.covariance[np.ix_(took_part, took_part)][:-1, :-1]
    variance = np.diagonal(covariance)
    scale = np.sqrt(np.where(variance > ROUNDING * scores.expected.max(), variance, 0.0))
    if not (scale > 0).any():
        return np.nan, 0
    safe = np.where(scale > 0, scale, 1.0)
    values, axes = np.linalg.eigh(covariance / np.outer(safe, safe))
    kept = values > RANK
    along = axes.T @ (gap / safe)
    return float(np.sum(along[kept] ** 2 / values[kept])), int(np.count_nonzero(kept))


def _who_took_part(groups: np.ndarray, took_part: np.ndarray, events: float) -> tuple[Note, ...]:
    if events == 0:
        return (Note(code="ZERO_EVENTS", text="No events in any group: there is nothing to test."),)
    absent = [str(group) for group, present in zip(groups, took_part, strict=True) if not present]
    if len(groups) - len(absent) < 2:
        who = f" ({', '.join(absent)} had nobody at risk)" if absent else ""
        return (Note(code="SMALL_N", text=f"Fewer than two groups had anybody at risk when events happened{who}."),)
    if absent:
        text = f"Left out of the test, with nobody at risk when events happened: {', '.join(absent)}."
        return (Note(code="SMALL_N", text=text),)
    return ()


def gray_test(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    group: ArrayLike,
    of: object = 1,
    causes: Sequence | None = None,
    groups: Sequence | None = None,
    strata: ArrayLike | None = None,
    rho: float = 0.0,
) -> CurveTest:
    """Gray's K-sample test of the incidence of the cause named `of`; one row a subject, 0 in `cause` censored.

    Each event counts (1 − F(t−))^rho, with F of all groups of its stratum together. Variance as R's cmprsk.
    Gray RJ. Ann Stat 1988;16:1141-1154. Late entry is not provided for. Where a group is empty, nothing happened or
    groups never meet: NaN and a note. Raises StatisticsError as event_table does, ChoiceError for an unknown cause.
    """
    tables = tables_by_stratum(time, cause, group=group, groups=groups, strata=strata, causes=causes)
    return gray_test_of(tables, of=of, rho=rho)


def gray_test_of(tables: Sequence[EventTable], *, of: object = 1, rho: float = 0.0) -> CurveTest:
    """The test from tables of counts, one a stratum, with the same groups and causes and no late entry."""
    names = tables[0].causes.tolist()
    if of not in names:
        raise unknown_choice("cause", of, names)
    place, rho = names.index(of), float(checks.finite("rho", rho))
    parts = [_scores(each, place, rho) for each in tables]
    scores = reduce(lambda one, two: one + two, parts)
    events = sum(float(each.events[:, place].sum()) for each in tables)
    weighted = "" if rho == 0 else f" with rho = {rho:g}"
    name = f"Gray's test{weighted}" + (", stratified" if len(tables) > 1 else "")
    return chi_squared_of(name, tables[0].groups, scores, scores.expected > 0, events)


def _scores(table: EventTable, place: int, rho: float) -> Scores:
    busy = table.all_events.any(axis=0)
    died = table.events[:, place][:, busy]
    others = table.all_events[:, busy] - died
    risk, after = table.at_risk[:, busy], event_free(table)[:, busy]
    before = just_before(event_free(table))[:, busy]
    without = just_before(1 - incidence_shares(table, event_free(table))[:, place])[:, busy]
    pool = _pool(over(risk, before), died.sum(axis=0), rho)
    fair = pool.share * without
    expected = over(fair, fair.sum(axis=0)) @ (pool.weight * pool.events)
    at_event = _at_events(pool)
    later = _still_to_come(at_event, _carried(pool.events, pool.total * (1 - pool.before)))
    others_left = np.where(after > 0, over(np.broadcast_to(1 - pool.incidence, after.shape), after), 0.0)
    own, through = at_event + (1 - others_left) * later, others_left * later
    covariance = _summed(own, _own_spread(pool, before, risk)) + _summed(through, _other_spread(before, risk, others))
    return Scores(observed=died @ pool.weight, expected=expected, covariance=covariance)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Pool:
    """All groups as one: each group's `share` (G, T) of the risk, as if none had left by other causes, their `total`,
    `events` of the cause, its `incidence` just after each time and just `before`, and the `weight` of each time."""

    share: np.ndarray
    total: np.ndarray
    events: np.ndarray
    incidence: np.ndarray
    before: np.ndarray
    weight: np.ndarray


def _pool(share: np.ndarray, events: np.ndarray, rho: float) -> _Pool:
    total = share.sum(axis=0)
    incidence = np.cumsum(over(events, total))
    before = np.concatenate([[0.0], incidence[:-1]])[: incidence.size]
    weight = np.power(np.maximum(1 - before, 0.0), rho) if rho else np.ones(before.size)
    return _Pool(share=share, total=total, events=events, incidence=incidence, before=before, weight=weight)


def _at_events(pool: _Pool) -> np.ndarray:
    """How the score of group i moves with an event in group k, at each time (G, G, T)."""
    own = np.eye(len(pool.share))[:, :, None] * pool.share
    return pool.weight * (own - over(pool.share[:, None] * pool.share, pool.total))


def _carried(top: np.ndarray, bottom: np.ndarray) -> np.ndarray:
    """top / bottom with its sign, and 0 where bottom is 0.

    With few in a group the pooled incidence can pass 1, and what is left turns negative; cmprsk carries it on.
    """
    top, bottom = np.broadcast_arrays(top, bottom)
    return np.divide(top, bottom, out=np.zeros(top.shape), where=bottom != 0)


def _still_to_come(moves: np.ndarray, hazard: np.ndarray) -> np.ndarray:
    """The sum of moves times hazard over all later times (G, G, T)."""
    terms = moves * hazard
    return np.cumsum(terms[..., ::-1], axis=-1)[..., ::-1] - terms


def _own_spread(pool: _Pool, before: np.ndarray, risk: np.ndarray) -> np.ndarray:
    """Variance of one group's events of the cause (G, T), allowing for ties."""
    tied = _carried(np.maximum(pool.events - 1, 0), pool.total * before - 1)
    return (1 - tied) * over(before * pool.events, pool.total * risk)


def _other_spread(before: np.ndarray, risk: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Variance of one group's events of other causes (G, T), allowing for ties."""
    tied = over(np.maximum(others - 1, 0), risk - 1)
    return (1 - tied) * over(before**2 * others, risk**2)


def _summed(moves: np.ndarray, spread: np.ndarray) -> np.ndarray:
    return np.einsum("ikt,jkt->ij", moves * spread, moves, optimize=True)


def log_rank(
    time: ArrayLike,
    event: ArrayLike,
    *,
    group: ArrayLike,
    groups: Sequence | None = None,
    strata: ArrayLike | None = None,
    entry: ArrayLike | None = None,
    rho: float = 0.0,
) -> CurveTest:
    """Do groups have one hazard? One row a subject: `time`, `event` yes or no, `group`, and a label in `strata`.

    Each event counts S(t−)^rho, with S of all groups of its stratum together: 0 the log-rank test, 1 the Peto–Peto
    test, G(1, 0). Events of other causes are censored there: the test is of cause-specific hazards.
    Mantel N. Cancer Chemother Rep 1966;50:163-170; Harrington DP, Fleming TR. Biometrika 1982;69:553-566.
    Where a group is empty, nothing happened or groups never meet: NaN and a note. Raises as event_table does.
    """
    happened = np.asarray(checks.codes("event", event)) > 0
    tables = tables_by_stratum(
        time, happened.astype(np.intp), group=group, groups=groups, strata=strata, entry=entry, causes=(1,)
    )
    return log_rank_of(tables, rho=rho)


def log_rank_of(tables: Sequence[EventTable], *, rho: float = 0.0) -> CurveTest:
    """The test from tables of counts, one a stratum, with the same groups; an event of any cause counts."""
    rho = float(checks.finite("rho", rho))
    scores = reduce(lambda one, two: one + two, [_log_rank_scores(each, rho) for each in tables])
    events = sum(float(each.all_events.sum()) for each in tables)
    name = "log-rank test" if rho == 0 else f"Fleming–Harrington test with rho = {rho:g}"
    stratified = f"{name}, stratified" if len(tables) > 1 else name
    return chi_squared_of(stratified, tables[0].groups, scores, scores.expected > 0, events)


def _log_rank_scores(table: EventTable, rho: float) -> Scores:
    """Observed, expected and their hypergeometric covariance, times with events weighted."""
    died, risk = table.all_events.sum(axis=0), table.at_risk.sum(axis=0)
    pooled = EventTable(
        time=table.time,
        groups=np.array(["all"]),
        causes=table.causes,
        at_risk=risk[None],
        events=table.events.sum(axis=0)[None],
        censored=table.censored.sum(axis=0)[None],
    )
    weight = just_before(event_free(pooled))[0] ** rho if rho else np.ones(risk.size)
    share = over(table.at_risk, risk)
    spread = weight**2 * died * over(risk - died, np.maximum(risk - 1, 0))
    covariance = np.diag(share @ spread) - (share * spread) @ share.T
    return Scores(observed=table.all_events @ weight, expected=share @ (weight * died), covariance=covariance)
