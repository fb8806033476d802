"""Differences of two shares, with limits that hold at small numbers and at 0 and 100 %.

Shares fitted under a stated difference or ratio, and the score variances they give (factor N/(N − 1)).

Miettinen O, Nurminen M. Stat Med 1985;4:213-226, appendix: the likelihood equations in closed form.

Ratios of two shares.

Ratios of two odds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from necrostats.errors import unknown_choice
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.comparisons.common import (
    Contrast,
    TwoGroups,
    counted,
    empty_groups,
    nothing_to_compare,
    one_table,
    two_groups,
)
from necrostats.stats.intervals import as_given, sign_changes
from necrostats.stats.proportions import wilson


def difference_variance(groups: TwoGroups, difference: np.ndarray) -> np.ndarray:
    """Variance (r,) of the difference of two shares when it is `difference` (r,), −1 to 1."""
    q = _reference_given_difference(groups, difference)
    p = np.clip(q + difference, 0, 1)
    return _factor(groups) * (p * (1 - p) / groups.n + q * (1 - q) / groups.m)


def ratio_variance(groups: TwoGroups, ratio: np.ndarray) -> np.ndarray:
    """Variance (r,) of share − ratio × reference share when the ratio of the shares is `ratio` (r,), 0 or more."""
    total = groups.n + groups.m
    b = groups.n * ratio + groups.a + groups.m + groups.b * ratio
    root = np.sqrt(np.maximum(b**2 - 4 * total * ratio * (groups.a + groups.b), 0))
    q = np.clip(2 * (groups.a + groups.b) / (b + root), 0, 1)
    p = np.clip(ratio * q, 0, 1)
    return _factor(groups) * (p * (1 - p) / groups.n + ratio**2 * q * (1 - q) / groups.m)


def beyond(distance: np.ndarray, allowed: np.ndarray) -> np.ndarray:
    """Above 0 where the squared distance is more than allowed, below 0 where it is less, −1 where it is 0."""
    total = distance + allowed
    relative = np.divide(distance - allowed, total, out=-np.ones_like(total), where=total > 0)
    return np.where(distance > 0, relative, -1.0)


def _factor(groups: TwoGroups) -> np.ndarray:
    total = groups.n + groups.m
    return total / (total - 1)


def _reference_given_difference(groups: TwoGroups, d: np.ndarray) -> np.ndarray:
    """The fitted reference share: the root of a cubic that lies where both shares are between 0 and 1."""
    cube = groups.n + groups.m
    square = (groups.n + 2 * groups.m) * d - cube - (groups.a + groups.b)
    line = d * (groups.m * d - cube - 2 * groups.b) + groups.a + groups.b
    none = groups.b * d * (1 - d)
    third = square / (3 * cube)
    v = third**3 - square * line / (6 * cube**2) + none / (2 * cube)
    u = np.where(v < 0, -1.0, 1.0) * np.sqrt(np.maximum(third**2 - line / (3 * cube), 0))
    cosine = np.divide(v, u**3, out=np.zeros_like(v), where=u != 0)
    angle = (np.pi + np.arccos(np.clip(cosine, -1, 1))) / 3
    return np.clip(2 * u * np.cos(angle) - third, np.maximum(0, -d), np.minimum(1, 1 - d))


METHODS = {
    "miettinen-nurminen": "Miettinen–Nurminen score interval",
    "newcombe": "Newcombe hybrid score interval",
}


def risk_difference(
    events: ArrayLike,
    n: ArrayLike,
    events_ref: ArrayLike,
    n_ref: ArrayLike,
    *,
    level: float = 0.95,
    method: str = "miettinen-nurminen",
) -> Contrast:
    """events / n − events_ref / n_ref with its limits; numbers or arrays that broadcast.

    `method` "miettinen-nurminen" (Stat Med 1985;4:213-226; variance × N/(N − 1)) or "newcombe" (Stat Med
    1998;17:873-890, method 10, no continuity correction). NaN and a note where a group is empty.
    """
    if method not in METHODS:
        raise unknown_choice("method for a risk difference", method, METHODS)
    groups = two_groups(events, n, events_ref, n_ref)
    limits = _miettinen_nurminen if method == "miettinen-nurminen" else _newcombe
    low, high = limits(groups, level)
    return Contrast(
        estimate=as_given(groups.share - groups.share_ref),
        low=as_given(low),
        high=as_given(high),
        measure="risk difference",
        method=METHODS[method],
        notes=empty_groups(groups),
    )


def _newcombe(groups: TwoGroups, level: float) -> tuple[np.ndarray, np.ndarray]:
    first, second = wilson(groups.a, groups.n, level=level), wilson(groups.b, groups.m, level=level)
    p, q = groups.share, groups.share_ref
    low = p - q - np.hypot(p - first.low, second.high - q)
    high = p - q + np.hypot(first.high - p, q - second.low)
    return np.clip(low, -1, 1), np.clip(high, -1, 1)


def _miettinen_nurminen(groups: TwoGroups, level: float) -> tuple[np.ndarray, np.ndarray]:
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    low, high = np.full(groups.a.shape, np.nan), np.full(groups.a.shape, np.nan)
    full = ~groups.empty
    some = groups.at(full)
    observed = some.share - some.share_ref

    def outside(difference: np.ndarray, rows: np.ndarray) -> np.ndarray:
        """Above 0 where the score is beyond z, below 0 where it is not; between −1 and 1."""
        distance = (observed[rows] - difference) ** 2
        return beyond(distance, z**2 * difference_variance(some.at(rows), difference))

    low[full] = sign_changes(outside, np.full(observed.shape, -1.0), observed)
    high[full] = sign_changes(outside, observed, np.full(observed.shape, 1.0))
    return low, high


RISK_RATIO_METHODS = {
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
    if method not in RISK_RATIO_METHODS:
        raise unknown_choice("method for a risk ratio", method, RISK_RATIO_METHODS)
    z = special.ndtri((1 + checks.confidence_level(level)) / 2)
    groups = two_groups(events, n, events_ref, n_ref)
    estimate, low, high = (np.full(groups.a.shape, np.nan) for _ in range(3))
    some = ~groups.empty & ~groups.no_events
    chosen = groups.at(some)
    estimate[some] = _ratio(chosen)
    low[some], high[some] = (_log_limits if method == "log" else _score_limits)(chosen, z)
    return Contrast(
        estimate=as_given(estimate),
        low=as_given(low),
        high=as_given(high),
        measure="risk ratio",
        method=RISK_RATIO_METHODS[method],
        notes=_notes(groups, method),
    )


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


ODDS_RATIO_METHODS = {
    "conditional": "conditional maximum likelihood with exact limits",
    "woolf": "cross-product ratio with Woolf's Wald interval on its log",
}


_WIDE, _ERRORS_AWAY, MOST_WEIGHED = 200, 20, 100_000


def odds_ratio(
    events: float, n: float, events_ref: float, n_ref: float, *, level: float = 0.95, method: str = "conditional"
) -> Contrast:
    """The odds ratio of one group against its reference, with its limits.

    `method` "conditional": Cornfield's exact limits given all margins, as R's fisher.test. "woolf": ad/bc with
    exp(log ± z √(1/a + 1/b + 1/c + 1/d)), Woolf B, Ann Hum Genet 1955;19:251-253. **Zero cells:** the conditional
    ratio is then 0 or infinite with one exact limit; Woolf's interval does not exist (NaN and a note), and ½ is never
    added. With nobody or everybody affected in both groups both are NaN. Where more than 100,000 tables would have to
    be weighed (tens of millions in each group) the conditional ratio is not computed: NaN and a note.
    """
    if method not in ODDS_RATIO_METHODS:
        raise unknown_choice("method for an odds ratio", method, ODDS_RATIO_METHODS)
    checks.confidence_level(level)
    groups = one_table(events, n, events_ref, n_ref)
    if groups.empty or groups.no_contrast:
        return _contrast(np.full(3, np.nan), method, nothing_to_compare(groups))
    return _conditional(groups, level) if method == "conditional" else _woolf(groups, level)


def _conditional(groups: TwoGroups, level: float) -> Contrast:
    """Cornfield's limits: the odds ratios at which as many events or more, or as few, have the tail of the level."""
    counts, log_ways = _tables_near(groups)
    if not counts.size:
        text = (
            'More tables are possible than can be weighed: ask for method "woolf", which differs by less than is shown.'
        )
        return _contrast(np.full(3, np.nan), "conditional", (Note(code="NOT_CONVERGED", text=text),))
    zero = (groups.cells() == 0).any()
    so = "the odds ratio is 0 or unlimited on that side"
    tail, a = (1 - level) / 2, groups.a
    weighed = _Weighed(counts=counts, log_ways=log_ways, a=float(a), near=_near(groups))
    values = np.array(
        [
            weighed.root(lambda share: share @ counts - a, open_at=a if a in counts[[0, -1]] else None),
            weighed.root(lambda share: share[counts >= a].sum() - tail, open_at=counts[0]),
            weighed.root(lambda share: tail - share[counts <= a].sum(), open_at=counts[-1]),
        ]
    )
    return _contrast(np.exp(values), "conditional", counted(zero, "ZERO_EVENTS", "A cell of the table is 0", so))


def _near(groups: TwoGroups) -> tuple[float, float]:
    """About where the log odds ratio lies, and its error: only where to look first."""
    (a, b), (c, d) = groups.cells() + 0.5
    return float(np.log(a / b) - np.log(c / d)), float(np.sqrt(1 / a + 1 / b + 1 / c + 1 / d))


def _tables_near(groups: TwoGroups) -> tuple[np.ndarray, np.ndarray]:
    """Events in the group (K,) that these margins allow, with the log number of ways of each; none if too many.

    Only those within 20 standard errors of what was seen: the others weigh nothing at any ratio that is looked for.
    The ways are summed from one table to the next, so that no digit is lost between logs of large factorials.
    """
    total = groups.a + groups.b
    near = _WIDE + _ERRORS_AWAY / np.sqrt(np.sum(1 / np.maximum(groups.cells(), 1)))
    first, last = max(0, total - groups.m, groups.a - near), min(total, groups.n, groups.a + near)
    if last - first > MOST_WEIGHED:
        return np.zeros(0), np.zeros(0)
    counts = np.arange(np.ceil(first), np.floor(last) + 1)
    k = counts[:-1]
    steps = np.log((groups.n - k) / (k + 1)) + np.log((total - k) / (groups.m - total + k + 1))
    return counts, np.concatenate([[0.0], np.cumsum(steps)])


@dataclass(frozen=True, kw_only=True, eq=False)
class _Weighed:
    """The tables of one pair of margins: events in the group (K,), the log number of ways of each, the events seen."""

    counts: np.ndarray
    log_ways: np.ndarray
    a: float
    near: tuple[float, float]

    def root(self, excess: Callable[[np.ndarray], float], *, open_at: float | None) -> float:
        """The log odds ratio at which `excess`, rising, of the shares of the tables is 0; infinite if open there."""
        if self.counts.size == 1 or open_at == self.a:
            return -np.inf if self.a == self.counts[0] else np.inf

        def beyond(log_ratio: float) -> float:
            weight = self.log_ways + (self.counts - self.a) * log_ratio
            share = np.exp(weight - weight.max())
            return excess(share / share.sum())

        (middle, error), width = self.near, 2.0
        while beyond(middle - width * error) > 0 or beyond(middle + width * error) < 0:
            width *= 2
        ends = middle - width * error, middle + width * error
        return float(optimize.brentq(beyond, *ends, xtol=1e-13, rtol=1e-14))


def _woolf(groups: TwoGroups, level: float) -> Contrast:
    (a, b), (c, d) = groups.cells().astype(float)
    ratio = a * d / (b * c) if b * c else np.inf
    if not a * b * c * d:
        so = 'Woolf\'s interval does not exist, and ½ is not added; use method "conditional"'
        notes = counted(np.array(True), "ZERO_EVENTS", "A cell of the table is 0", so)
        return _contrast(np.array([ratio, np.nan, np.nan]), "woolf", notes)
    half = special.ndtri((1 + level) / 2) * np.sqrt(1 / a + 1 / b + 1 / c + 1 / d)
    return _contrast(ratio * np.exp([0, -half, half]), "woolf", ())


def _contrast(values: np.ndarray, method: str, notes: tuple) -> Contrast:
    estimate, low, high = map(float, values)
    return Contrast(
        estimate=estimate, low=low, high=high, measure="odds ratio", method=ODDS_RATIO_METHODS[method], notes=notes
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class NumberNeeded:
    """`estimate` is signed as the difference: positive, so many patients for one event more; negative, for one less.

    Where the difference may go either way (`either_way`), the values that the data allow are not those between `low`
    and `high` but those beyond them: from `low` through infinity to `high`.
    """

    estimate: float
    low: float
    high: float
    either_way: bool
    method: str
    notes: tuple[Note, ...] = ()


def number_needed(
    events: float, n: float, events_ref: float, n_ref: float, *, level: float = 0.95, method: str = "miettinen-nurminen"
) -> NumberNeeded:
    """The number needed for one event more in the group than in its reference, and its limits.

    They are the reciprocals of those of the risk difference by `method`. Altman DG. BMJ 1998;317:1309-1312. A
    difference of exactly 0 gives an infinite number; an empty group NaN and a note.
    """
    found = risk_difference(events, n, events_ref, n_ref, level=level, method=method)
    either_way = bool(found.low < 0 < found.high)
    limits = sorted(map(_reciprocal, (found.low, found.high)))
    notes = found.notes
    if either_way:
        text = "The difference may go either way: the number needed runs through infinity, from one limit to the other."
        notes = (*notes, Note(code="NO_LIMITS", text=text))
    return NumberNeeded(
        estimate=_reciprocal(found.estimate),
        low=limits[0],
        high=limits[1],
        either_way=either_way,
        method=f"reciprocal of the risk difference ({found.method})",
        notes=notes,
    )


def _reciprocal(difference: float) -> float:
    return float(1 / difference) if difference else float(np.inf) if difference == 0 else float("nan")
