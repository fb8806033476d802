"""Contrasts of neighbouring groups, 0 with 1, 2 with 3 …: the two groups of one series each."""

from __future__ import annotations

import numpy as np

from necrostats.stats.restricted_means import FigureContrast, GroupFigures, difference, ratio
from simulations.tables import Limits


def differences(figures: GroupFigures, cause: int | None = None) -> Limits:
    """Limits of the difference of neighbours, by Welch's t as compare_resolution has it; the truth is 0."""
    found = [difference(pair, *pair.groups, welch=True) for pair in _pairs(figures)]
    return Limits(truth=0.0, low=_side(found, "low", cause), high=_side(found, "high", cause))


def ratios(figures: GroupFigures, cause: int | None = None) -> Limits:
    """Limits of the ratio of neighbours; the truth is 1."""
    found = [ratio(pair, *pair.groups) for pair in _pairs(figures)]
    return Limits(truth=1.0, low=_side(found, "low", cause), high=_side(found, "high", cause))


def _pairs(figures: GroupFigures) -> list[GroupFigures]:
    return [_pair(figures, slice(place, place + 2)) for place in range(0, figures.groups.size, 2)]


def _pair(figures: GroupFigures, two: slice) -> GroupFigures:
    return GroupFigures(
        measure=figures.measure,
        groups=figures.groups[two],
        level=figures.level,
        largest=figures.largest,
        subjects=figures.subjects[two],
        estimate=figures.estimate[two],
        covariance=figures.covariance[..., two, two],
        low=figures.low[two],
        high=figures.high[two],
    )


def _side(found: list[FigureContrast], side: str, cause: int | None) -> np.ndarray:
    limits = np.array([getattr(each, side) for each in found])
    return limits if cause is None else limits[:, cause]
