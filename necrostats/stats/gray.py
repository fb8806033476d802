"""Gray's test: do groups have one cumulative incidence of a cause, others competing? Also within strata."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike

from necrostats.errors import unknown_choice
from necrostats.stats import checks
from necrostats.stats.curve_tests import CurveTest, Scores, tables_by_stratum, tested
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
    return tested(name, tables[0].groups, scores, scores.expected > 0, events)


def _scores(table: EventTable, place: int, rho: float) -> Scores:
    died, others = table.events[:, place], table.all_events - table.events[:, place]
    busy = (died + others).any(axis=0)
    risk, died, others = table.at_risk[:, busy], died[:, busy], others[:, busy]
    free_after = event_free(table)
    free = just_before(free_after)[:, busy]
    seen = risk > 0
    inverse = over(risk, np.where(seen, free, 1.0))
    total, events = inverse.sum(axis=0), died.sum(axis=0)
    pooled = np.cumsum(over(events, total))
    before = np.concatenate([[0.0], pooled[:-1]])[: pooled.size]
    weight = np.power(np.maximum(1 - before, 0.0), rho) if rho else np.ones(pooled.size)
    still = 1 - just_before(1 - incidence_shares(table, free_after)[:, place])[:, busy]
    fair = inverse * (1 - still)
    expected = over(fair, fair.sum(axis=0)) @ (weight * events)
    at_event = _at_events(inverse, total, weight)
    later = _still_to_come(at_event, over(events, total * (1 - before)))
    after = free_after[:, busy]
    left = over(np.broadcast_to(1 - pooled, after.shape), after)
    own = at_event + (1 - np.where(after > 0, left, 0.0)) * later
    own_spread = _own_spread(free, risk, events, total)
    other_spread = np.where(after > 0, _other_spread(free, risk, others), 0.0)
    through = left * later
    covariance = np.einsum("ikt,jkt,kt->ij", own, own, own_spread, optimize=True)
    covariance += np.einsum("ikt,jkt,kt->ij", through, through, other_spread, optimize=True)
    return Scores(observed=died @ weight, expected=expected, covariance=covariance)
