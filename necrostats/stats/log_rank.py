"""The log-rank test and its Fleming–Harrington weights, also within strata."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce

import numpy as np
from numpy.typing import ArrayLike

from necrostats.stats import checks
from necrostats.stats.curve_tests import CurveTest, Scores, chi_squared_of, tables_by_stratum
from necrostats.stats.event_tables import EventTable, over
from necrostats.stats.products import event_free, just_before


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
    scores = reduce(lambda one, two: one + two, [_scores(each, rho) for each in tables])
    events = sum(float(each.all_events.sum()) for each in tables)
    name = "log-rank test" if rho == 0 else f"Fleming–Harrington test with rho = {rho:g}"
    stratified = f"{name}, stratified" if len(tables) > 1 else name
    return chi_squared_of(stratified, tables[0].groups, scores, scores.expected > 0, events)


def _scores(table: EventTable, rho: float) -> Scores:
    """Observed, expected and their hypergeometric covariance, times with events weighted."""
    died, risk = table.all_events.sum(axis=0), table.at_risk.sum(axis=0)
    pooled = EventTable(
        time=table.time, groups=np.array(["all"]), causes=table.causes, at_risk=risk[None],
        events=table.events.sum(axis=0)[None], censored=table.censored.sum(axis=0)[None],
    )  # fmt: skip
    weight = just_before(event_free(pooled))[0] ** rho if rho else np.ones(risk.size)
    share = over(table.at_risk, risk)
    spread = weight**2 * died * over(risk - died, np.maximum(risk - 1, 0))
    covariance = np.diag(share @ spread) - (share * spread) @ share.T
    return Scores(
        observed=table.all_events @ weight, expected=share @ (weight * died), covariance=covariance
    )
