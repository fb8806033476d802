"""A figure for each group with the errors of all groups together, and how two groups differ."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special, stats

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast
from necrostats.stats.intervals import as_given, limits, unbiased, wider

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
