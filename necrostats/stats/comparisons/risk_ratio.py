"""Ratios of two shares."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import Contrast, TwoGroups, counted, empty_groups, two_groups
from necrostats.stats.comparisons.restricted import beyond, ratio_variance
from necrostats.stats.intervals import as_given
from necrostats.stats.roots import sign_changes

METHODS = {
    "log": "Wald interval on the log risk ratio",
    "score": "Miettinen–Nurminen score interval",
}


def risk_ratio(
    events: ArrayLike,
    n: ArrayLike,
    events_ref: ArrayLike,
    n_ref: ArrayLike,
    *,
    level: float = 0.95,
    method: str = "log",
) -> Contrast:
    """(events / n) / (events_ref / n_ref) with its limits; numbers or arrays that broadcast.

    `method` "log": exp(log ratio ± z √(1/a − 1/n + 1/b − 1/m)), Katz D and others, Biometrics 1978;34:469-474.
    **Zero cells:** with no events in a group, or nothing but events in both, this interval does not exist; the limits
    are NaN with a note, and ½ is never added. `method` "score" (Miettinen O, Nurminen M. Stat Med 1985;4:213-226) has
    limits there. A ratio to a share of 0 is infinite; 0 to 0 is NaN.
    """
    if method not in METHODS:
        raise unknown_choice("method for a risk ratio", method, METHODS)
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    groups = two_groups(events, n, events_ref, n_ref)
    estimate, low, high = (np.full(groups.a.shape, np.nan) for _ in range(3))
    some = ~groups.empty & ~groups.no_events
    chosen = groups.at(some)
    estimate[some] = _ratio(chosen)
    low[some], high[some] = (_log_limits if method == "log" else _score_limits)(chosen, z)
    return Contrast(
        estimate=as_given(estimate), low=as_given(low), high=as_given(high), measure="risk ratio",
        method=METHODS[method], notes=_notes(groups, method),
    )  # fmt: skip


def _ratio(groups: TwoGroups) -> np.ndarray:
    p, q = groups.share, groups.share_ref
    return np.divide(p, q, out=np.full(p.shape, np.inf), where=q > 0)


def _log_limits(groups: TwoGroups, z: float) -> tuple[np.ndarray, np.ndarray]:
    low, high = np.full(groups.a.shape, np.nan), np.full(groups.a.shape, np.nan)
    some = ~_no_log_interval(groups)
    chosen = groups.at(some)
    half = z * np.sqrt(1 / chosen.a - 1 / chosen.n + 1 / chosen.b - 1 / chosen.m)
    low[some], high[some] = _ratio(chosen) * np.exp(-half), _ratio(chosen) * np.exp(half)
    return low, high


def _score_limits(groups: TwoGroups, z: float) -> tuple[np.ndarray, np.ndarray]:
    """Roots are sought in t = ratio / (1 + ratio), 0 to 1."""
    p, q = groups.share, groups.share_ref
    observed = p / (p + q)

    def outside(t: np.ndarray, rows: np.ndarray) -> np.ndarray:
        rest = np.maximum(1 - t, 1e-100)
        distance = (rest * p[rows] - t * q[rows]) ** 2
        return beyond(distance, z**2 * rest**2 * ratio_variance(groups.at(rows), t / rest))

    low = sign_changes(outside, np.zeros(observed.shape), observed)
    high = sign_changes(outside, observed, np.ones(observed.shape))
    return _back(np.where(groups.a == 0, 0.0, low)), _back(np.where(groups.b == 0, 1.0, high))


def _back(t: np.ndarray) -> np.ndarray:
    return np.divide(t, 1 - t, out=np.full(t.shape, np.inf), where=t < 1)


def _no_log_interval(groups: TwoGroups) -> np.ndarray:
    everybody = (groups.a == groups.n) & (groups.b == groups.m)
    return ~groups.empty & ~groups.no_events & ((groups.a == 0) | (groups.b == 0) | everybody)


def _notes(groups: TwoGroups, method: str) -> tuple[Note, ...]:
    nobody = counted(groups.no_events, "ZERO_EVENTS", "Nobody has the event in either group", "there is no risk ratio")
    what = "A group has no events, or both have nothing but events"
    so = 'the log interval does not exist, and ½ is not added; use method "score" or the risk difference'
    without = counted(_no_log_interval(groups), "ZERO_EVENTS", what, so) if method == "log" else ()
    return empty_groups(groups) + nobody + without
