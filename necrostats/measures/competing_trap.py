"""The figure not to report, beside the right one: competing ends taken as censored."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.measures.event_free import event_free
from necrostats.measures.grouping import patient_groups
from necrostats.measures.resolution import NAMED_DAYS, competing, time_to_resolution
from necrostats.registry.tables import Registry
from necrostats.results import Curves, Method, Note

NAIVE = "not to report: 1 − Kaplan–Meier"


def competing_ends_trap(
    registry: Registry,
    *,
    by: str | None = None,
    level: float = 0.95,
    definition: ResolutionDefinition = DOCUMENTED_RESOLUTION,
    days: Sequence[int] = NAMED_DAYS,
) -> Curves:
    """Incidence of resolution by day, and what 1 − Kaplan–Meier makes of it when competing ends are censored.

    The second answers what would happen if nobody could die or be operated on. It is never the share who resolve,
    and always at least as large. Gooley TA et al. Stat Med 1999;18:695-706.
    """
    right = time_to_resolution(registry, by=by, level=level, definition=definition, days=days)
    groups = patient_groups(registry, by)
    ends = outcomes(registry, definition)
    free = event_free(
        ends.day, ends.cause == 1, groups, NAIVE, axis="days", landmarks=right.landmarks, level=level
    )
    kept = right.table[right.table["cause"] == "resolved"]
    table = _both(kept, _turned(free.table))
    return Curves(
        title="Resolution with and without regard to competing ends",
        table=table,
        medians=_both(right.medians[right.medians["cause"] == "resolved"], free.medians),
        landmarks=right.landmarks,
        population=right.population,
        method=Method(
            estimand=right.method.estimand,
            estimator="Aalen–Johansen; beside it 1 − Kaplan–Meier with competing ends censored, which is not to be "
            "reported",
            interval=right.method.interval,
            level=level,
            definition=right.method.definition,
            references=("Gooley et al., Stat Med 1999;18:695", *right.method.references),
        ),
        notes=(_note(table, max(right.landmarks, default=0), competing(ends)), *right.notes),
    )


def _turned(table: pd.DataFrame) -> pd.DataFrame:
    """The share with the event from the share without it."""
    return table.assign(
        estimate=1 - table["estimate"], conf_low=1 - table["conf_high"], conf_high=1 - table["conf_low"]
    )


def _both(right: pd.DataFrame, naive: pd.DataFrame) -> pd.DataFrame:
    parts = [each.assign(cause=each["cause"].astype(object)) for each in (right, naive)]
    table = pd.concat(parts, ignore_index=True)
    table["cause"] = pd.Categorical(table["cause"], categories=["resolved", NAIVE], ordered=True)
    return table


def _note(table: pd.DataFrame, day: int, ends: str) -> Note:
    at_day = table[table["days"] == day]
    heights = {cause: at_day.loc[at_day["cause"] == cause, "estimate"] for cause in ("resolved", NAIVE)}
    text = (
        f"1 − Kaplan–Meier censors {ends}, as if those patients could still resolve: it is not the share who resolve, "
        "and is shown only beside it."
    )
    both = [each.iloc[0] for each in heights.values() if len(each) == 1]
    if len(both) == 2 and not np.isnan(both).any():
        text += f" By day {day} it says {100 * both[1]:.0f} % where {100 * both[0]:.0f} % resolved."
    return Note(code="COMPETING_AS_CENSORED", text=text)
