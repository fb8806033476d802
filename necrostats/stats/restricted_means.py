"""Restricted mean time: the area under a curve up to a stated time, with its error.

The height of a curve at one time named in advance, by group: differences of incidence and of survival.
"""

from __future__ import annotations

import numpy as np

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.curve_terms import (
    Curve,
    Subjects,
    area_terms,
    clustered_covariance,
    clusters_by_group,
    counted_covariance,
    height_terms,
)
from necrostats.stats.curves import Survival, at
from necrostats.stats.group_figures import FigureContrast, GroupFigures, difference, figures_of
from necrostats.stats.incidence import event_free
from necrostats.stats.intervals import limits, notes_on


def restricted_mean(
    curve: Curve, tau: float, *, subjects: Subjects | None = None, level: float | None = None
) -> GroupFigures:
    """Mean time free of events up to `tau` (survival), or mean time lost to each cause (incidence).

    The area under the curve from 0 to `tau`, in the unit of its times: with session numbers, the mean of sessions
    up to `tau`. Error from the counts: of survival, Greenwood's type as R's rmean; by cause, without late entry, the
    infinitesimal jackknife. With `subjects` (the rows of the curve), influence summed by cluster; with a cluster for
    every row this is what R gives by cause when subjects enter late.
    Limits by t for so many subjects, symmetric in the logit of the mean's share of `tau`.
    NaN and a note for a group last observed before `tau` with somebody left free of events; in whole numbers, being
    observed at `tau` − 1 is enough. Irwin JO. J Hyg 1949;47:188-189; Andersen PK. Lifetime Data Anal 2013;19:397-422.
    """
    tau = checks.positive("tau", tau)
    terms = area_terms(curve, tau)
    covariance = counted_covariance(terms) if subjects is None else clustered_covariance(terms, subjects)
    unknown = _unknown(curve, tau)
    value = np.where(unknown[:, None], np.nan, terms.value)
    covariance = np.where(unknown | unknown[:, None], np.nan, covariance)
    survival = isinstance(curve, Survival)
    return figures_of(
        measure=f"restricted mean time {'free of events' if survival else 'lost'} up to {tau:g}",
        groups=curve.table.groups,
        level=curve.level if level is None else level,
        largest=tau,
        estimate=value[:, 0] if survival else value,
        covariance=covariance[0] if survival else covariance,
        subjects=independent(curve, subjects),
        notes=_why(curve, unknown, tau) + fewest(subjects, curve),
    )


def independent(curve: Curve, subjects: Subjects | None) -> np.ndarray:
    """How many subjects, or clusters of them, each group has (G,)."""
    if subjects is None:
        return (curve.table.all_events + curve.table.censored).sum(axis=-1)
    return clusters_by_group(subjects, curve.table.groups)


def fewest(subjects: Subjects | None, curve: Curve) -> tuple[Note, ...]:
    """The note on few clusters, for the group of the curve with fewest (a group with nobody has none to count)."""
    if subjects is None or not subjects.clusters.size:
        return ()
    clusters = clusters_by_group(subjects, curve.table.groups)
    return notes_on(int(clusters[clusters > 0].min()))


def _unknown(curve: Curve, tau: float) -> np.ndarray:
    """Which groups (G,) were not observed up to `tau`, with somebody left free of events."""
    whole = curve.table.time.dtype.kind == "i" and tau == np.floor(tau)
    finished = (event_free(curve.table) == 0).any(axis=-1)
    return (last_times(curve) < tau - whole) & ~finished


def last_times(curve: Curve) -> np.ndarray:
    """The last time at which each group was observed (G,); −1 for a group with nobody."""
    return np.append(curve.table.time, -1)[curve.table.last_observed]


def _why(curve: Curve, unknown: np.ndarray, tau: float) -> tuple[Note, ...]:
    return tuple(
        Note(code="SMALL_N", text=f"Group {group} has nobody in it: no restricted mean.")
        if last < 0
        else Note(
            code="NOT_MATURED",
            text=f"Group {group} was last observed at {last:g}, before {tau:g}: no restricted mean to {tau:g}.",
        )
        for group, last, missing in zip(curve.table.groups, last_times(curve), unknown, strict=True)
        if missing
    )


def heights(curve: Curve, time: float, *, subjects: Subjects | None = None, level: float | None = None) -> GroupFigures:
    """The share free of events (survival), or with an event of each cause (incidence), at one time, by group.

    Error by the delta method from the counts; with `subjects` (the rows of the curve), influence summed by cluster.
    Limits symmetric in log(−log), as the curve's. NaN and a note where a group was no longer observed.
    """
    time = float(checks.not_negative("time", time))
    level = checks.confidence_level(curve.level if level is None else level)
    terms = height_terms(curve, time)
    covariance = counted_covariance(terms) if subjects is None else clustered_covariance(terms, subjects)
    survival = isinstance(curve, Survival)
    seen = at(curve, time).estimate[..., 0].reshape(terms.value.shape)
    unknown = np.isnan(seen).any(axis=1)
    covariance = np.where(unknown | unknown[:, None], np.nan, covariance)
    band = limits(seen, np.sqrt(np.diagonal(covariance, axis1=1, axis2=2).T), level, "log-log")
    keep = (slice(None), 0) if survival else ...
    return GroupFigures(
        measure=f"{'share free of events' if survival else 'cumulative incidence'} at {time:g}",
        groups=curve.table.groups,
        level=level,
        largest=1.0,
        subjects=independent(curve, subjects),
        estimate=seen[keep],
        covariance=covariance[0] if survival else covariance,
        low=band.low[keep],
        high=band.high[keep],
        notes=_why_no_difference(curve, unknown, time) + fewest(subjects, curve),
    )


def difference_at(
    curve: Curve,
    time: float,
    group: object,
    reference: object,
    *,
    subjects: Subjects | None = None,
    level: float | None = None,
) -> FigureContrast:
    """The height of the curve of `group` minus that of `reference` at one time; a float, or (C,) by cause.

    Klein JP, Logan B, Harhoff M, Andersen PK. Stat Med 2007;26:4505-4519 (comparisons at a fixed point in time).
    """
    return difference(heights(curve, time, subjects=subjects, level=level), group, reference)


def _why_no_difference(curve: Curve, unknown: np.ndarray, time: float) -> tuple[Note, ...]:
    return tuple(
        Note(code="SMALL_N", text=f"Group {group} has nobody in it: it has no curve.")
        if last < 0
        else Note(code="NOT_MATURED", text=f"Group {group} was last observed at {last:g}, before {time:g}.")
        for group, last, missing in zip(curve.table.groups, last_times(curve), unknown, strict=True)
        if missing
    )
