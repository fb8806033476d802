"""The share still free of any event, as a table of Curves: Kaplan–Meier."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.measures.curves import EXACT_BELOW, Incidence, curve_notes, median_limits, most_with_none
from necrostats.measures.grouping import Grouping
from necrostats.stats.event_tables import event_table
from necrostats.stats.incidence import Survival, kaplan_meier_of, quantile
from necrostats.stats.proportions import clopper_pearson
from necrostats.stats.reading_curves import Quantile


def event_free(
    time, event, groups: Grouping, name: str, *, axis: str, landmarks, level: float
) -> Incidence:
    """Kaplan–Meier over `axis` ("days" or "sessions") of those with no event, with a row at each landmark.

    `time` (n,) whole numbers, `event` (n,) true or false, `groups` codes (n,), -1 not counted. `name` is what the
    share is called. Limits log-log; Clopper–Pearson in a group of fewer than 30 of whom nobody is censored, and while
    nobody has had an event or been censored.
    """
    known = groups.codes >= 0
    counted = event_table(
        np.asarray(time)[known], np.asarray(event, dtype=np.int64)[known], group=groups.codes[known], causes=(name,),
        groups=range(len(groups.labels)),
    ).with_times((0, *landmarks))  # fmt: skip
    curve = kaplan_meier_of(counted, level=level)
    low, high = _limits(curve, level)
    table = _table(curve, low, high, groups, name, axis)
    middle = quantile(curve, 0.5, midpoint=axis == "days")
    medians = _medians(curve, middle, low, high, groups, name, axis)
    notes = curve_notes(table, medians, middle, axis, f"more than half were still {name} while followed")
    return Incidence(table=table, medians=medians, notes=notes)


def _table(curve: Survival, low, high, groups: Grouping, name: str, axis: str) -> pd.DataFrame:
    counts = curve.table
    subjects = counts.at_risk[:, :1] > 0 if counts.time.size else counts.at_risk > 0
    followed = (counts.at_risk > 0) | (np.isclose(curve.estimate, 0.0) & subjects)
    group, point = (index.ravel() for index in np.indices(curve.estimate.shape))
    return pd.DataFrame(
        {
            "group": groups.column(group),
            "cause": _cause(group.size, name),
            axis: counts.time[point].astype(np.int64),
            "at_risk": counts.at_risk.ravel().astype(np.int64),
            "events": counts.all_events.ravel().astype(np.int64),
            "censored": counts.censored.ravel().astype(np.int64),
            "estimate": np.where(followed, curve.estimate, np.nan).ravel(),
            "conf_low": np.where(followed, low, np.nan).ravel(),
            "conf_high": np.where(followed, high, np.nan).ravel(),
        }
    )


def _limits(curve: Survival, level: float) -> tuple[np.ndarray, np.ndarray]:
    none, most = curve.estimate == 1, most_with_none(curve.table, level)
    low, high = np.where(none, 1 - most, curve.low), np.where(none & np.isnan(most), np.nan, curve.high)
    total = curve.table.all_events.sum(axis=1)
    complete = (curve.table.censored.sum(axis=1) == 0) & (total > 0) & (total < EXACT_BELOW)
    for group in np.flatnonzero(complete):
        left = total[group] - curve.table.all_events[group].cumsum()
        exact = clopper_pearson(left, total[group], level=level)
        low[group], high[group] = exact.low, exact.high
    return low, high


def _cause(rows: int, name: str) -> pd.Categorical:
    return pd.Categorical.from_codes(np.zeros(rows, dtype=np.int64), categories=[name], ordered=True)


def _medians(
    curve: Survival, middle: Quantile, low, high, groups: Grouping, name: str, axis: str
) -> pd.DataFrame:
    early, late = median_limits(curve.table, 1 - curve.estimate, 1 - high, 1 - low, axis)
    places = np.arange(len(groups.labels))
    return pd.DataFrame(
        {
            "group": groups.column(places), "cause": _cause(places.size, name), "estimate": middle.estimate,
            "conf_low": early, "conf_high": late,
        }
    )  # fmt: skip
