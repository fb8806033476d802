"""The height of a curve at one time named in advance, by group: differences of incidence and of survival."""

from __future__ import annotations

import numpy as np

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.curve_terms import Curve, clustered_covariance, counted_covariance, height_terms
from necrostats.stats.curves import Survival
from necrostats.stats.group_figures import FigureContrast, GroupFigures, difference
from necrostats.stats.reading_curves import at
from necrostats.stats.restricted_means import fewest, independent, last_times
from necrostats.stats.subjects import Subjects
from necrostats.stats.transforms import limits


def heights(
    curve: Curve, time: float, *, subjects: Subjects | None = None, level: float | None = None
) -> GroupFigures:
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
        groups=curve.table.groups, level=level, largest=1.0, subjects=independent(curve, subjects),
        estimate=seen[keep], covariance=covariance[0] if survival else covariance, low=band.low[keep],
        high=band.high[keep], notes=_why(curve, unknown, time) + fewest(subjects, curve),
    )  # fmt: skip


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


def _why(curve: Curve, unknown: np.ndarray, time: float) -> tuple[Note, ...]:
    return tuple(
        Note(code="SMALL_N", text=f"Group {group} has nobody in it: it has no curve.")
        if last < 0
        else Note(code="NOT_MATURED", text=f"Group {group} was last observed at {last:g}, before {time:g}.")
        for group, last, missing in zip(curve.table.groups, last_times(curve), unknown, strict=True)
        if missing
    )
