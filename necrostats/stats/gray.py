"""Gray's test: do groups have one cumulative incidence of a cause, others competing? Also within strata."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import unknown_choice
from necrostats.stats import checks
from necrostats.stats.curve_tests import CurveTest, Scores, chi_squared_of, tables_by_stratum
from necrostats.stats.event_tables import EventTable, over
from necrostats.stats.products import event_free, incidence_shares, just_before


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
    later = _still_to_come(at_event, over(pool.events, pool.total * (1 - pool.before)))
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


def _still_to_come(moves: np.ndarray, hazard: np.ndarray) -> np.ndarray:
    """The sum of moves times hazard over all later times (G, G, T)."""
    terms = moves * hazard
    return np.cumsum(terms[..., ::-1], axis=-1)[..., ::-1] - terms


def _own_spread(pool: _Pool, before: np.ndarray, risk: np.ndarray) -> np.ndarray:
    """Variance of one group's events of the cause (G, T), allowing for ties."""
    tied = over(np.maximum(pool.events - 1, 0), pool.total * before - 1)
    return (1 - tied) * over(before * pool.events, pool.total * risk)


def _other_spread(before: np.ndarray, risk: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Variance of one group's events of other causes (G, T), allowing for ties."""
    tied = over(np.maximum(others - 1, 0), risk - 1)
    return (1 - tied) * over(before**2 * others, risk**2)


def _summed(moves: np.ndarray, spread: np.ndarray) -> np.ndarray:
    return np.einsum("ikt,jkt->ij", moves * spread, moves, optimize=True)
