"""Cox's partial likelihood with ties, late entry and strata: its log, score, information and each row's share.

Where weights differ by many powers of ten, as those of risk sets do, the difference of two running totals has no digits
left. A binary tree over the axis gives the same sums from parts that all lie inside the stretch.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np


def over_points(values: np.ndarray, first: np.ndarray, end: np.ndarray, points: int) -> np.ndarray:
    """For each of so many points (E, k) the sum of values (n, k) whose stretch [first, end) (n,) holds it."""
    size = _size(points)
    nodes = np.zeros((2 * size, values.shape[1]))
    for row, node in _parts(first, end, size):
        _add(nodes, node, values[row])
    for level in range(size.bit_length() - 1):
        low = 1 << level
        nodes[2 * low : 4 * low] += np.repeat(nodes[low : 2 * low], 2, axis=0)
    return nodes[size : size + points]


def over_stretches(values: np.ndarray, first: np.ndarray, end: np.ndarray) -> np.ndarray:
    """For each stretch [first, end) (n, k) the sum of the values (E, k) at the points it holds."""
    size = _size(len(values))
    nodes = np.zeros((2 * size, values.shape[1]))
    nodes[size : size + len(values)] = values
    for low in (1 << level for level in reversed(range(size.bit_length() - 1))):
        nodes[low : 2 * low] = nodes[2 * low : 4 * low : 2] + nodes[2 * low + 1 : 4 * low : 2]
    total = np.zeros((first.size, values.shape[1]))
    for row, node in _parts(first, end, size):
        _add(total, row, nodes[node])
    return total


def _size(points: int) -> int:
    return 1 << max(points - 1, 0).bit_length()


def _add(total: np.ndarray, place: np.ndarray, values: np.ndarray) -> None:
    for column in range(total.shape[1]):
        total[:, column] += np.bincount(place, weights=values[:, column], minlength=len(total))


def _parts(first: np.ndarray, end: np.ndarray, size: int):
    """The nodes of the tree that make up each stretch: (rows, nodes), a level at a time."""
    low, high = first.astype(np.int64) + size, np.maximum(end, first).astype(np.int64) + size
    while (open_still := low < high).any():
        at_low = np.flatnonzero(open_still & (low & 1 == 1))
        yield at_low, low[at_low]
        low[at_low] += 1
        at_high = np.flatnonzero((low < high) & (high & 1 == 1))
        yield at_high, high[at_high] - 1
        high[at_high] -= 1
        low, high = low >> 1, high >> 1


@dataclass(frozen=True, kw_only=True, eq=False)
class RiskSets:
    """Rows (n,) at risk on (start, stop] within strata, and the times at which events happened (E,), by stratum.

    `start` and `stop` are places on one axis that runs over times within strata, `start` −1 or more below the first;
    `stratum` (n,) is its number, from 0. `late`: some rows enter late. Covariates are centred within strata, which
    changes nothing in the likelihood and keeps its digits.
    `covariates` (n, p). `breslow`: tied events all meet the same risk set; else Efron's average over their order.
    """

    covariates: np.ndarray
    event: np.ndarray
    start: np.ndarray
    stop: np.ndarray
    stratum: np.ndarray
    late: bool = False
    breslow: bool = False

    @cached_property
    def times(self) -> np.ndarray:
        """The places at which events happened (E,), in order."""
        return np.unique(self.stop[self.event])

    @cached_property
    def tied(self) -> np.ndarray:
        """How many events there were at each of them (E,)."""
        return np.bincount(self.group[self.event], minlength=self.times.size)

    @cached_property
    def group(self) -> np.ndarray:
        """For each row the place of its own stop among `times`, or of the next (n,)."""
        return np.searchsorted(self.times, self.stop)

    @cached_property
    def of_event(self) -> np.ndarray:
        """For each event, in order of time, the place of its time (D,)."""
        return np.repeat(np.arange(self.times.size), self.tied)

    @cached_property
    def fraction(self) -> np.ndarray:
        """For each event the share of its tied events that has already left the risk set (D,)."""
        if self.breslow:
            return np.zeros(self.of_event.size)
        first = np.cumsum(self.tied) - self.tied
        return (np.arange(self.of_event.size) - first[self.of_event]) / self.tied[self.of_event]

    @cached_property
    def _by_stop(self) -> np.ndarray:
        return np.argsort(self.stop, kind="stable")

    @cached_property
    def stretch(self) -> tuple[np.ndarray, np.ndarray]:
        """The event times in each row's (start, stop], as the places of the first and of the one after the last."""
        return tuple(np.searchsorted(self.times, each, side="right") for each in (self.start, self.stop))

    @cached_property
    def simple(self) -> bool:
        """Whether all rows are of one stratum and enter at the start: running totals then only ever grow."""
        return not self.late and not self.stratum.any()

    def summed_at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sums of values (n, k) over the rows at risk at each event time (E, k)."""
        if not self.simple:
            return over_points(values, *self.stretch, self.times.size)
        total = np.cumsum(values[self._by_stop][::-1], axis=0)[::-1]
        return total[np.searchsorted(self.stop[self._by_stop], self.times)]

    def summed_while_at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sums of values of event times (E, k) over those in each row's (start, stop] (n, k)."""
        if not self.simple:
            return over_stretches(values, *self.stretch)
        return np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])[self.stretch[1]]

    def summed_events(self, values: np.ndarray) -> np.ndarray:
        """Sums of values (n, k) over the rows with an event at each event time (E, k)."""
        total = np.zeros((self.times.size, values.shape[1]))
        np.add.at(total, self.group[self.event], values[self.event])
        return total


@dataclass(frozen=True, kw_only=True, eq=False)
class Likelihood:
    """The log partial likelihood, its slope (p,) and information (p, p), with what each time gave:
    `surplus` (E, p), covariates of events beyond the mean at risk, and `spread` (E, p, p), their variance at risk."""

    height: float
    surplus: np.ndarray
    spread: np.ndarray

    @property
    def slope(self) -> np.ndarray:
        return self.surplus.sum(axis=0)

    @property
    def information(self) -> np.ndarray:
        return self.spread.sum(axis=0)


@dataclass(frozen=True, kw_only=True, eq=False)
class _AtEvents:
    """For each event (D,): total risk, mean covariates (D, p) and variance (D, p, p) of the rows at risk."""

    total: np.ndarray
    mean: np.ndarray
    variance: np.ndarray


FAINTEST = 1e-280  # below, numbers in double precision lose their digits


def likelihood(rows: RiskSets, beta: np.ndarray) -> Likelihood:
    """The partial likelihood at coefficients `beta` (p,). Efron B. J Am Stat Assoc 1977;72:557-565."""
    linear = _linear(rows, beta)
    at = _at_events(rows, np.exp(linear))
    if not (at.total > FAINTEST).all():
        return _out_of_reach(rows)
    gained = rows.summed_events(linear[:, None])[:, 0] - _by_time(rows, np.log(at.total))
    height = float(np.minimum(gained, 0.0).sum())  # each time gives a probability, but for rounding
    expected = _by_time(rows, at.mean)
    seen = rows.summed_events(rows.covariates)
    return Likelihood(height=height, surplus=seen - expected, spread=_by_time(rows, at.variance))


def _out_of_reach(rows: RiskSets) -> Likelihood:
    """Coefficients so large that some risk set weighs nothing in double precision: never a peak."""
    e, p = rows.times.size, rows.covariates.shape[1]
    return Likelihood(height=-np.inf, surplus=np.zeros((e, p)), spread=np.zeros((e, p, p)))


def scores(rows: RiskSets, beta: np.ndarray) -> np.ndarray:
    """The score of each row (n, p): its events' surplus, less its share of what was expected while it was at risk.

    Lin DY, Wei LJ. J Am Stat Assoc 1989;84:1074-1078, with Efron's share for rows whose events are tied.
    """
    risk, x = np.exp(_linear(rows, beta)), rows.covariates
    at = _at_events(rows, risk)
    mean = _by_time(rows, at.mean) / rows.tied[:, None]
    rate, rate_mean = (_by_time(rows, each) for each in (1 / at.total, at.mean / at.total[:, None]))
    while_at_risk = x * rows.summed_while_at_risk(rate[:, None]) - rows.summed_while_at_risk(rate_mean)
    score = -risk[:, None] * while_at_risk
    own = rows.group[rows.event]
    share, share_mean = (
        _by_time(rows, rows.fraction / at.total),
        _by_time(rows, at.mean * (rows.fraction / at.total)[:, None]),
    )
    kept = risk[rows.event, None] * (x[rows.event] * share[own][:, None] - share_mean[own])
    score[rows.event] += x[rows.event] - mean[own] + kept
    return score


def _linear(rows: RiskSets, beta: np.ndarray) -> np.ndarray:
    """The linear predictor (n,), less its maximum in the stratum: the same likelihood, and exponents at most 1."""
    linear = rows.covariates @ beta
    most = np.full(int(rows.stratum.max(initial=0)) + 1, -np.inf)
    np.maximum.at(most, rows.stratum, linear)
    return linear - most[rows.stratum]


def _at_events(rows: RiskSets, risk: np.ndarray) -> _AtEvents:
    x = rows.covariates
    p = x.shape[1]
    products = (x[:, :, None] * x[:, None, :]).reshape(len(x), p * p)
    moments = risk[:, None] * np.concatenate([np.ones((len(x), 1)), x, products], axis=1)
    left = rows.fraction[:, None] * rows.summed_events(moments)[rows.of_event]
    each = rows.summed_at_risk(moments)[rows.of_event] - left
    total = np.where(each[:, 0] > 0, each[:, 0], 0.0)
    each = each / np.where(total > 0, total, 1.0)[:, None]
    mean = each[:, 1 : p + 1]
    variance = each[:, p + 1 :].reshape(-1, p, p) - mean[:, :, None] * mean[:, None, :]
    return _AtEvents(total=total, mean=mean, variance=variance)


def _by_time(rows: RiskSets, values: np.ndarray) -> np.ndarray:
    """Values of events (D, …) summed by time (E, …)."""
    first = np.cumsum(rows.tied) - rows.tied
    return np.add.reduceat(values, first, axis=0) if first.size else np.zeros((0, *values.shape[1:]))
