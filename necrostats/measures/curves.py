"""From ends and times to the table, medians and notes that every incidence curve shares.

Medians that are not one day: a curve that stays at exactly one half for a while.

Referred patients: under this unit's eyes only from some day after their index drainage.

The share still free of any event, as a table of Curves: Kaplan–Meier.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.measures.grouping import Grouping, counted
from necrostats.registry.tables import Registry
from necrostats.results import Note
from necrostats.stats.curves import Quantile, passing_time, widened
from necrostats.stats.event_tables import EventTable, event_table
from necrostats.stats.incidence import (
    CumulativeIncidence,
    Survival,
    aalen_johansen,
    aalen_johansen_of,
    kaplan_meier_of,
    quantile,
)
from necrostats.stats.proportions import clopper_pearson


def plateau_notes(middle: Quantile, names: Sequence[str]) -> tuple[Note, ...]:
    """The stretches of days of which the middle is given as median, by group (G named), for the first cause."""
    shown, first, last = (
        each if each.ndim == 1 else each[:, 0] for each in (middle.estimate, middle.stretch.first, middle.stretch.last)
    )
    level = np.flatnonzero((first < last) & (shown > first))
    if not level.size:
        return ()
    fits = ", ".join(f"any day from {first[place]:g} to {last[place]:g} fits ({names[place]})" for place in level)
    text = f"The curve stays at exactly one half, so the median is not one day: {fits}. The middle is shown."
    return (Note(code="MEDIAN_ON_PLATEAU", text=text),)


SMALL_RISK_SET = 10
SMALL_GROUP = 20
EXACT_BELOW = 30
ROUNDING = 1e-12


@dataclass(frozen=True, kw_only=True, eq=False)
class Incidence:
    """A cumulative incidence by group and cause, as `table` and `medians` of Curves, and its notes."""

    table: pd.DataFrame
    medians: pd.DataFrame
    notes: tuple[Note, ...]


def incidence(
    time,
    cause,
    groups: Grouping,
    causes: tuple[str, ...],
    *,
    axis: str,
    landmarks,
    level: float,
    cluster=None,
    entry=None,
) -> Incidence:
    """Aalen–Johansen incidence over `axis` ("days" or "sessions"), with a row at each landmark.

    `time` (n,) whole numbers; `cause` (n,) 0 censored, else the place in `causes` from 1; `groups` codes (n,).
    Subjects without a group are not counted. `cluster` (n,): subjects that belong together, such as the collections of
    one patient; errors then sum influence by cluster, with limits for few of them. `entry` (n,): observed only after
    this time. Beyond the last time at which anybody was followed nothing is estimated.
    """
    known = groups.codes >= 0
    rows = {"group": groups.codes[known], "causes": causes, "groups": range(len(groups.labels))}
    when, which, points = np.asarray(time)[known], np.asarray(cause)[known], (0, *landmarks)
    if cluster is None:
        since = None if entry is None else np.asarray(entry)[known]
        curve = aalen_johansen_of(event_table(when, which, entry=since, **rows).with_times(points), level=level)
    else:
        whose = np.asarray(cluster)[known]
        found = aalen_johansen(when, which, cluster=whose, **rows, level=level)
        clusters = [np.unique(whose[rows["group"] == place]).size for place in rows["groups"]]
        curve = _at_points_too(widened(found, clusters), points)
    own = None if cluster is None else np.array(clusters) / np.maximum(curve.table.at_risk[:, 0], 1)
    low, high = _limits(curve, level, late=entry is not None, clusters_each=own)
    whole = np.isclose(curve.estimate, 1.0, rtol=0, atol=ROUNDING)
    table = _table(curve, np.where(whole, 1.0, curve.estimate), low, high, groups, axis)
    middle = quantile(curve, 0.5, midpoint=axis == "days")
    medians = _medians(curve, middle, low, high, groups, axis)
    notes = curve_notes(table, medians, middle, axis, "followed too short a time, or fewer than half resolved")
    return Incidence(table=table, medians=medians, notes=(*notes, *curve.notes) if cluster is not None else notes)


def _at_points_too(curve: CumulativeIncidence, points) -> CumulativeIncidence:
    """The same curve with rows at these points too, each as high as the step before it."""
    table = curve.table.with_times(points)
    step = np.searchsorted(curve.table.time, table.time, side="right")

    def spread(values: np.ndarray, first: float) -> np.ndarray:
        return np.concatenate([np.full((*values.shape[:-1], 1), first), values], axis=-1)[..., step]

    return replace(
        curve,
        table=table,
        estimate=spread(curve.estimate, 0.0),
        std_error=spread(curve.std_error, 0.0),
        low=spread(curve.low, np.nan),
        high=spread(curve.high, np.nan),
        event_free=spread(curve.event_free, 1.0),
    )


def _limits(
    curve: CumulativeIncidence, level: float, *, late: bool, clusters_each: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    """The log-log limits; in a group of fewer than 30 with nobody censored those of Clopper–Pearson.

    A share of zero or one has the exact limit on those it rests on (`rests_on`), of clusters on as many clusters,
    `clusters_each` (G,) for one of them, as if all of one ended alike; with `late` entries none.
    """
    whole = np.isclose(curve.estimate, 1.0, rtol=0, atol=ROUNDING)
    low, high = (np.where(whole, np.nan, each) for each in (curve.low, curve.high))
    if late:
        return low, high
    most = most_with_none(curve.table, level, clusters_each)[:, None, :]
    none, known = curve.estimate == 0, ~np.isnan(most)
    low, high = np.where(none, np.where(known, 0.0, np.nan), low), np.where(none, most, high)
    low, high = np.where(whole, 1 - most, low), np.where(whole & known, 1.0, high)
    if clusters_each is not None:
        return low, high
    total = curve.table.all_events.sum(axis=1)
    for group in np.flatnonzero(_few_and_complete(curve.table)):
        binomial = clopper_pearson(curve.table.events[group].cumsum(axis=-1), total[group], level=level)
        low[group], high[group] = binomial.low, binomial.high
    return low, high


def most_with_none(counts: EventTable, level: float, clusters_each: np.ndarray | None = None) -> np.ndarray:
    """(G, T) the exact upper limit of a share of whom none has had the event; NaN where it rests on nobody."""
    subjects = rests_on(counts)
    return most_of(subjects if clusters_each is None else subjects * clusters_each[:, None], level)


def most_of(subjects: np.ndarray, level: float) -> np.ndarray:
    """Clopper–Pearson's upper limit of none of so many, whole or not: 1 − (α / 2)^(1 / n); NaN for nobody."""
    some = np.where(subjects > 0, subjects, np.nan)
    return 1 - ((1 - level) / 2) ** (1 / some)


def rests_on(counts: EventTable) -> np.ndarray:
    """(G, T) how many a share of zero or one rests on: all until somebody is censored, then those still at risk.

    The latter is conservative: those censored before were watched for a while, too. Where nobody is at risk any more,
    those who were when anybody last was.
    """
    censored_before = counts.censored.cumsum(axis=-1) > counts.censored
    latest = np.maximum.accumulate(np.where(counts.at_risk > 0, np.arange(counts.at_risk.shape[1]), 0), axis=1)
    still = np.take_along_axis(counts.at_risk, latest, axis=1)
    return np.where(censored_before, still, counts.at_risk[:, :1])


def _followed(curve: CumulativeIncidence) -> np.ndarray:
    """(G, 1, T) whether the curve is known there: somebody at risk, or everybody's end known."""
    subjects = curve.table.at_risk[:, :1] > 0 if curve.table.time.size else curve.table.at_risk > 0
    nobody_left = np.isclose(curve.event_free, 0.0)
    return ((curve.table.at_risk > 0) | (nobody_left & subjects))[:, None, :]


def _table(curve: CumulativeIncidence, estimate, low, high, groups: Grouping, axis: str) -> pd.DataFrame:
    counts = curve.table
    shape = curve.estimate.shape
    followed = np.broadcast_to(_followed(curve), shape)
    group, cause, point = (index.ravel() for index in np.indices(shape))
    return pd.DataFrame(
        {
            "group": groups.column(group),
            "cause": _causes(cause, curve),
            axis: counts.time[point].astype(np.int64),
            "at_risk": counts.at_risk[group, point].astype(np.int64),
            "events": counts.events.ravel().astype(np.int64),
            "censored": counts.censored[group, point].astype(np.int64),
            "estimate": np.where(followed, estimate, np.nan).ravel(),
            "low": np.where(followed, low, np.nan).ravel(),
            "high": np.where(followed, high, np.nan).ravel(),
        }
    )


def _causes(places, curve: CumulativeIncidence) -> pd.Categorical:
    return pd.Categorical.from_codes(places, categories=[str(name) for name in curve.table.causes], ordered=True)


def median_limits(counts: EventTable, estimate, low, high, axis: str) -> tuple[np.ndarray, np.ndarray]:
    """Where the band shown, (…, T) of a rising share, passes one half; NaN for an edge that never does.

    As R's survfit, the band is not read where everybody has had the event, unless it is that of a small group of whom
    nobody is censored. Both limits are NaN where the band is not known all the way, or that of such a group is so wide
    that it never passes one half although everybody has had the event.
    """
    whole = np.isclose(estimate, 1.0, rtol=0, atol=ROUNDING)
    small = _few_and_complete(counts).reshape(-1, *(1,) * (whole.ndim - 1))
    unknown = ((np.isnan(low) | np.isnan(high)) & (estimate > 0) & ~whole).any(axis=-1)
    early, late = (
        passing_time(counts, np.where(whole & ~small, np.nan, edge), 0.5, midpoint=axis == "days")
        for edge in (high, low)
    )
    none = unknown | (np.isnan(late) & (small & whole).any(axis=-1))
    return np.where(none, np.nan, early), np.where(none, np.nan, late)


def _few_and_complete(counts: EventTable) -> np.ndarray:
    """(G,) whether a group is of fewer than 30, and nobody in it is censored."""
    total = counts.all_events.sum(axis=1)
    return (counts.censored.sum(axis=1) == 0) & (total > 0) & (total < EXACT_BELOW)


def _medians(curve: CumulativeIncidence, middle: Quantile, low, high, groups: Grouping, axis: str) -> pd.DataFrame:
    early, late = median_limits(curve.table, curve.estimate, low, high, axis)
    group, cause = (index.ravel() for index in np.indices(curve.estimate.shape[:2]))
    return pd.DataFrame(
        {
            "group": groups.column(group),
            "cause": _causes(cause, curve),
            "estimate": np.ravel(middle.estimate),
            "low": np.ravel(early),
            "high": np.ravel(late),
        }
    )


def curve_notes(
    table: pd.DataFrame, medians: pd.DataFrame, middle: Quantile, axis: str, unreached: str
) -> tuple[Note, ...]:
    """Few patients, a median not reached (`unreached` says why) or not one day (`middle`), few at risk.

    By group, for the first cause.
    """
    main = table[table["cause"].cat.codes == 0]
    started = main.groupby("group", observed=False)["at_risk"].max().fillna(0)
    notes = []
    small = [f"{name} ({int(n)})" for name, n in started.items() if 0 < n < SMALL_GROUP]
    if small:
        notes.append(Note(code="SMALL_N", text=f"Few patients, read with care: {', '.join(small)}."))
    first = medians[medians["cause"].cat.codes == 0]
    open_ended = [str(name) for name in first.loc[first["estimate"].isna(), "group"] if started[name] > 0]
    if open_ended:
        notes.append(
            Note(
                code="NOT_REACHED",
                text=f"The median was not reached: {unreached} ({', '.join(open_ended)}).",
            )
        )
    notes += plateau_notes(middle, [str(name) for name in table["group"].cat.categories])
    thin = main[(main["at_risk"] > 0) & (main["at_risk"] < SMALL_RISK_SET)]
    if len(thin):
        starts = thin.groupby("group", observed=True)[axis].min()
        where = ", ".join(f"from {axis.removesuffix('s')} {int(point)} ({name})" for name, point in starts.items())
        notes.append(
            Note(code="SMALL_RISK_SET", text=f"Fewer than {SMALL_RISK_SET} patients were still at risk {where}.")
        )
    return tuple(notes)


def entry_days(registry: Registry, seen_from: Mapping[str, int] | None) -> np.ndarray:
    """The day from which each patient was seen here (P,), 0 for those not named; ChoiceError for an unknown id."""
    days = np.zeros(len(registry.patients), dtype=np.int64)
    place = {str(name): row for row, name in enumerate(registry.patients["patient_id"])}
    for name, day in (seen_from or {}).items():
        if str(name).strip().upper() not in place:
            raise unknown_choice("patient", name, place)
        days[place[str(name).strip().upper()]] = max(int(day), 0)
    return days


def entry_notes(entry: np.ndarray) -> tuple[Note, ...]:
    """That referred patients count only from the day they were seen."""
    late = int(np.count_nonzero(entry > 0))
    if not late:
        return ()
    text = (
        f"{counted(late, 'patient was', 'patients were')} first seen here after the index drainage and counted from "
        "that day: whoever resolved or died before a referral could not be among them."
    )
    return (Note(code="LEFT_TRUNCATION", text=text),)


def event_free(time, event, groups: Grouping, name: str, *, axis: str, landmarks, level: float) -> Incidence:
    """Kaplan–Meier over `axis` ("days" or "sessions") of those with no event, with a row at each landmark.

    `time` (n,) whole numbers, `event` (n,) true or false, `groups` codes (n,), -1 not counted. `name` is what the
    share is called. Limits log-log; Clopper–Pearson in a group of fewer than 30 of whom nobody is censored, and while
    nobody has had an event or been censored.
    """
    known = groups.codes >= 0
    counted = event_table(
        np.asarray(time)[known],
        np.asarray(event, dtype=np.int64)[known],
        group=groups.codes[known],
        causes=(name,),
        groups=range(len(groups.labels)),
    ).with_times((0, *landmarks))
    curve = kaplan_meier_of(counted, level=level)
    low, high = _event_free_limits(curve, level)
    table = _event_free_table(curve, low, high, groups, name, axis)
    middle = quantile(curve, 0.5, midpoint=axis == "days")
    medians = _event_free_medians(curve, middle, low, high, groups, name, axis)
    notes = curve_notes(table, medians, middle, axis, f"more than half were still {name} while followed")
    return Incidence(table=table, medians=medians, notes=notes)


def _event_free_table(curve: Survival, low, high, groups: Grouping, name: str, axis: str) -> pd.DataFrame:
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
            "low": np.where(followed, low, np.nan).ravel(),
            "high": np.where(followed, high, np.nan).ravel(),
        }
    )


def _event_free_limits(curve: Survival, level: float) -> tuple[np.ndarray, np.ndarray]:
    most = most_with_none(curve.table, level)
    none, gone = curve.estimate == 1, np.isclose(curve.estimate, 0.0, rtol=0, atol=ROUNDING)
    low, high = np.where(none, 1 - most, curve.low), np.where(none & np.isnan(most), np.nan, curve.high)
    low, high = np.where(gone, np.where(np.isnan(most), np.nan, 0.0), low), np.where(gone, most, high)
    total = curve.table.all_events.sum(axis=1)
    for group in np.flatnonzero(_few_and_complete(curve.table)):
        left = total[group] - curve.table.all_events[group].cumsum()
        exact = clopper_pearson(left, total[group], level=level)
        low[group], high[group] = exact.low, exact.high
    return low, high


def _cause(rows: int, name: str) -> pd.Categorical:
    return pd.Categorical.from_codes(np.zeros(rows, dtype=np.int64), categories=[name], ordered=True)


def _event_free_medians(
    curve: Survival, middle: Quantile, low, high, groups: Grouping, name: str, axis: str
) -> pd.DataFrame:
    early, late = median_limits(curve.table, 1 - curve.estimate, 1 - high, 1 - low, axis)
    places = np.arange(len(groups.labels))
    return pd.DataFrame(
        {
            "group": groups.column(places),
            "cause": _cause(places.size, name),
            "estimate": middle.estimate,
            "low": early,
            "high": late,
        }
    )
