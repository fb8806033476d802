"""Restricted means of curves and other figures of groups, with errors, and their differences.

The height of a curve at one time named in advance, by group: differences of incidence and of survival.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special, stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast
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
from necrostats.stats.incidence import event_free
from necrostats.stats.intervals import as_given, limits, notes_on, unbiased, wider

ROUNDING = 1e-10


@dataclass(frozen=True, kw_only=True, eq=False)
class GroupFigures:
    """One figure for each group, (G,) from a survival curve, (G, C) by cause from an incidence.

    `covariance` (G, G) or (C, G, G): off the diagonal where clusters reach into several groups. `subjects` (G,) says
    how many independent ones each group has. `largest` is the greatest value the figure can take. NaN where a group
    was not observed long enough; `notes` say which.
    """

    measure: str
    groups: np.ndarray
    level: float
    largest: float
    subjects: np.ndarray
    estimate: np.ndarray
    covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    notes: tuple[Note, ...] = ()

    @property
    def std_error(self) -> np.ndarray:
        """Standard errors, in the shape of `estimate`."""
        return np.sqrt(np.diagonal(self.covariance, axis1=-2, axis2=-1)).T

    def of_cause(self, cause: int) -> GroupFigures:
        """The figures (G,) of one cause alone, by its place (C,)."""
        return replace(
            self,
            estimate=self.estimate[:, cause],
            covariance=self.covariance[cause],
            low=self.low[:, cause],
            high=self.high[:, cause],
        )

    def place(self, group: object) -> int:
        """Where a group stands; ChoiceError if it is not one of the groups."""
        names = self.groups.tolist()
        if group not in names:
            raise unknown_choice("group", group, names)
        return names.index(group)


@dataclass(frozen=True, kw_only=True, eq=False)
class FigureContrast(Contrast):
    """A contrast of two groups' figures with its standard error (of a ratio: of its logarithm) and z or t."""

    std_error: float | np.ndarray
    statistic: float | np.ndarray


def difference(figures: GroupFigures, group: object, reference: object, *, welch: bool = False) -> FigureContrast:
    """The figure of `group` minus that of `reference`; floats, or (C,) by cause.

    Normal limits, z test; they hold the truth too seldom in groups of 15 (tests/simulations). With `welch` limits and
    test are those of two means of so many subjects: each variance times n/(n − 1), t with Satterthwaite's degrees of
    freedom (Welch BL. Biometrika 1947;34:28-35). Where a group does not vary (nobody, or everybody) there is a
    difference, but no limits and no test, since the other group's error alone is too small: NaN, a note.
    """
    one, two = figures.place(group), figures.place(reference)
    gap = figures.estimate[one] - figures.estimate[two]
    scale = unbiased(figures.subjects) if welch else np.ones(figures.groups.size)
    variance = _variance(figures.covariance, one, two, scale[one], scale[two])
    freedom = _freedom(figures, one, two) if welch else np.inf
    still = _still(figures, one, two)
    error = np.where(still.any(axis=-1), np.nan, _positive(variance, figures.largest))
    half = stats.t.ppf((1 + figures.level) / 2, freedom) * error
    return FigureContrast(
        estimate=as_given(gap),
        low=as_given(np.clip(gap - half, -figures.largest, figures.largest)),
        high=as_given(np.clip(gap + half, -figures.largest, figures.largest)),
        measure=f"difference in {figures.measure}",
        method="Welch's t limits" if welch else "normal limits",
        test="Welch's t test" if welch else "z test",
        std_error=as_given(error),
        statistic=as_given(gap / error),
        p_value=as_given(2 * stats.t.sf(np.abs(gap / error), freedom)),
        notes=figures.notes + _no_spread(variance, error, still, (group, reference)),
    )


def ratio(figures: GroupFigures, group: object, reference: object) -> FigureContrast:
    """The figure of `group` over that of `reference`, with limits on the log scale; NaN where either is 0."""
    one, two = figures.place(group), figures.place(reference)
    top, bottom = (np.where(figures.estimate[each] > 0, figures.estimate[each], np.nan) for each in (one, two))
    log_ratio = np.log(top / bottom)
    variance = _variance(figures.covariance, one, two, 1 / top, 1 / bottom)
    still = _still(figures, one, two)
    error = np.where(still.any(axis=-1), np.nan, _positive(variance, 1.0))
    half = special.ndtri((1 + figures.level) / 2) * error
    return FigureContrast(
        estimate=as_given(top / bottom),
        low=as_given(np.exp(log_ratio - half)),
        high=as_given(np.exp(log_ratio + half)),
        measure=f"ratio of {figures.measure}",
        method="normal limits on the log scale",
        test="z test of the log ratio",
        std_error=as_given(error),
        statistic=as_given(log_ratio / error),
        p_value=as_given(2 * special.ndtr(-np.abs(log_ratio / error))),
        notes=figures.notes
        + _nothing_over(figures.estimate[[one, two]])
        + _no_spread(variance, error, still, (group, reference)),
    )


def figures_of(
    *,
    measure: str,
    groups: np.ndarray,
    level: float,
    largest: float,
    estimate: np.ndarray,
    covariance: np.ndarray,
    subjects: np.ndarray,
    notes: tuple[Note, ...] = (),
) -> GroupFigures:
    """Figures with limits between 0 and the largest value, none where nothing varies.

    `subjects` (G,) independent ones in each group: t on n − 1, since normal limits are too narrow for small groups, and
    symmetric in the logit of the share of `largest`, since figures near either end are skewed (tests/simulations).
    Tian L, Zhao L, Wei LJ. Biostatistics 2014;15:222-233 (the logistic link for restricted means; from memory).
    """
    level = checks.confidence_level(level)
    error = _positive(np.diagonal(covariance, axis1=-2, axis2=-1).T, largest)
    band = limits(estimate / largest, (wider(level, subjects) * error.T).T / largest, level, "logit")
    return GroupFigures(
        measure=measure,
        groups=groups,
        level=level,
        largest=largest,
        subjects=subjects,
        estimate=estimate,
        covariance=covariance,
        low=largest * band.low,
        high=largest * band.high,
        notes=notes,
    )


def _freedom(figures: GroupFigures, one: int, two: int) -> np.ndarray:
    """Satterthwaite's degrees of freedom of a difference; NaN where nothing varies."""
    places = np.array([one, two])
    n = np.where(figures.subjects[places] > 1, figures.subjects[places], np.nan)
    own = np.diagonal(figures.covariance, axis1=-2, axis2=-1)[..., places] * unbiased(n) ** 2
    bottom = np.sum(own**2 / (n - 1), axis=-1)
    return np.divide(own.sum(axis=-1) ** 2, bottom, out=np.full(np.shape(bottom), np.nan), where=bottom > 0)


def _variance(covariance: np.ndarray, one: int, two: int, of_one, of_two) -> np.ndarray:
    own = of_one**2 * covariance[..., one, one] + of_two**2 * covariance[..., two, two]
    return own - 2 * of_one * of_two * covariance[..., one, two]


def _positive(variance: np.ndarray, scale: float) -> np.ndarray:
    """The standard error; NaN where nothing varies, but for rounding, on the scale given."""
    return np.sqrt(np.where(np.asarray(variance) > (ROUNDING * scale) ** 2, variance, np.nan))


def _still(figures: GroupFigures, one: int, two: int) -> np.ndarray:
    """Whether the figure does not vary within each of two groups (2,) or (C, 2)."""
    own = np.diagonal(figures.covariance, axis1=-2, axis2=-1)[..., [one, two]]
    share = figures.estimate[[one, two]].T / figures.largest
    at_an_end = (share < ROUNDING) | (share > 1 - ROUNDING)
    return ~np.isnan(own) & (at_an_end | np.isnan(_positive(own, figures.largest)))


def _no_spread(
    variance: np.ndarray, error: np.ndarray, still: np.ndarray, names: tuple[object, object]
) -> tuple[Note, ...]:
    if not (still.any() or np.any(np.isnan(error) & ~np.isnan(variance))):
        return ()
    alone = still.any(axis=tuple(range(still.ndim - 1)))
    where = f"group {names[int(alone[1])]}" if alone.sum() == 1 else "either group"
    text = (
        f"The figure does not vary within {where}, so how far it may be off cannot be seen: the contrast has no limits "
        "and no test."
    )
    return (Note(code="ZERO_EVENTS", text=text),)


def _nothing_over(values: np.ndarray) -> tuple[Note, ...]:
    if not np.any(values == 0):
        return ()
    return (Note(code="ZERO_EVENTS", text="A group has a figure of 0: no ratio can be given; the difference can."),)


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
