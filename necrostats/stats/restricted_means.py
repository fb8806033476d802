"""Restricted mean time: the area under a curve up to a stated time, with its error."""

from __future__ import annotations

import numpy as np

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import notes_on
from necrostats.stats.curve_terms import (
    Curve,
    area_terms,
    clustered_covariance,
    clusters_by_group,
    counted_covariance,
)
from necrostats.stats.curves import Survival
from necrostats.stats.group_figures import GroupFigures, figures_of
from necrostats.stats.products import event_free
from necrostats.stats.subjects import Subjects


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
        groups=curve.table.groups, level=curve.level if level is None else level, largest=tau,
        estimate=value[:, 0] if survival else value, covariance=covariance[0] if survival else covariance,
        subjects=independent(curve, subjects), notes=_why(curve, unknown, tau) + fewest(subjects, curve),
    )  # fmt: skip


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
