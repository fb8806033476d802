"""Ratios of two rates whose events crowd in few units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.clusters import few_clusters
from necrostats.stats.comparisons.common import Contrast

METHOD = "robust by unit on the log scale"
TEST = "Wald test of two rates, robust by unit, t with Welch's degrees of freedom"


def clustered_rate_ratio(
    events: ArrayLike, exposure: ArrayLike, events_ref: ArrayLike, exposure_ref: ArrayLike, *, level: float = 0.95
) -> Contrast:
    """The ratio of two rates, one row a unit (a patient) with its events and exposure; the two groups share no unit.

    Each rate is a ratio estimator with error √(G/(G−1) Σ(y − r t)²) / Σy on the log scale; the two are independent, and
    t has Welch's degrees of freedom. Cochran WG. Sampling Techniques, 3rd ed. 1977, section 6.3; Welch BL. Biometrika
    1947;34:28-35 (both from memory). No events in a group, or fewer than two units: NaN and a note.
    """
    checks.confidence_level(level)
    group, reference = _log_rate(events, exposure), _log_rate(events_ref, exposure_ref)
    if group is None or reference is None:
        text = "A group has no events or fewer than two units with exposure: a robust ratio cannot be estimated."
        return _contrast(np.full(3, np.nan), np.nan, (Note(code="ZERO_EVENTS", text=text),))
    variance = group.variance + reference.variance
    parts = [each.variance**2 / (each.units - 1) for each in (group, reference)]
    difference, error = group.value - reference.value, np.sqrt(variance)
    if not variance:
        text = "Events are spread as evenly as exposure in both groups: their error cannot be estimated."
        return _contrast(np.exp([difference, np.nan, np.nan]), np.nan, (Note(code="SINGULAR", text=text),))
    freedom = variance**2 / sum(parts)
    half = special.stdtrit(freedom, (1 + level) / 2) * error
    p_value = 2 * special.stdtr(freedom, -abs(difference / error))
    notes = few_clusters(group.units + reference.units)
    return _contrast(np.exp(difference + np.array([0, -half, half])), float(p_value), notes)


@dataclass(frozen=True, kw_only=True)
class _LogRate:
    value: float
    variance: float
    units: int


def _log_rate(events: ArrayLike, exposure: ArrayLike) -> _LogRate | None:
    k = np.atleast_1d(checks.counts("events", events))
    time = np.atleast_1d(checks.not_negative("exposure", exposure))
    checks.one_length(events=k, exposure=time)
    if np.any((time == 0) & (k > 0)):
        raise StatisticsError("There are events where exposure is 0. Check the exposure of those rows.")
    units = int(np.count_nonzero(time > 0))
    if units < 2 or not k.sum():
        return None
    rate = k.sum() / time.sum()
    variance = units / (units - 1) * np.sum((k - rate * time) ** 2) / k.sum() ** 2
    return _LogRate(value=float(np.log(rate)), variance=float(variance), units=units)


def _contrast(ratios: np.ndarray, p_value: float, notes: tuple[Note, ...]) -> Contrast:
    estimate, low, high = map(float, ratios)
    return Contrast(
        estimate=estimate, low=low, high=high, measure="rate ratio", method=METHOD, p_value=p_value, test=TEST,
        notes=notes,
    )  # fmt: skip
