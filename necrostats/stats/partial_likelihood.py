"""Cox's partial likelihood with ties, late entry and strata: its height, slope, bend and each row's score."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np


@dataclass(frozen=True, kw_only=True, eq=False)
class RiskSets:
    """Rows (n,) at risk on (start, stop] within strata, and the times at which events happened (E,), by stratum.

    `start` and `stop` are places on one axis that runs over times within strata, `start` −1 or more below the first.
    `covariates` (n, p). `breslow`: tied events all meet the same risk set; else Efron's average over their order.
    """

    covariates: np.ndarray
    event: np.ndarray
    start: np.ndarray
    stop: np.ndarray
    stratum_end: np.ndarray
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
    def _by_start(self) -> np.ndarray:
        return np.argsort(self.start, kind="stable")

    @cached_property
    def _ends(self) -> np.ndarray:
        """For each event time the first place of the next stratum (E,)."""
        return self.stratum_end[np.searchsorted(self.stratum_end, self.times, side="right")]

    def summed_at_risk(self, values: np.ndarray) -> np.ndarray:
        """Sums of values (n, k) over the rows at risk at each event time (E, k)."""
        left = self._later(values, self._by_stop, self.stop)
        return left - self._later(values, self._by_start, self.start)

    def _later(self, values: np.ndarray, order: np.ndarray, place: np.ndarray) -> np.ndarray:
        """Sums over rows whose place is at an event time or after it, within its stratum (E, k)."""
        total = np.zeros((len(values) + 1, values.shape[1]))
        total[:-1] = np.cumsum(values[order][::-1], axis=0)[::-1]
        ordered = place[order]
        return total[np.searchsorted(ordered, self.times)] - total[np.searchsorted(ordered, self._ends)]

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


def likelihood(rows: RiskSets, beta: np.ndarray) -> Likelihood:
    """The partial likelihood at coefficients `beta` (p,). Efron B. J Am Stat Assoc 1977;72:557-565."""
    linear, shift = _linear(rows, beta)
    at = _at_events(rows, np.exp(linear - shift))
    if not (at.total > 0).all():
        return _out_of_reach(rows)
    height = float(linear[rows.event].sum() - shift * rows.of_event.size - np.sum(np.log(at.total)))
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
    linear, shift = _linear(rows, beta)
    risk, x = np.exp(linear - shift), rows.covariates
    at = _at_events(rows, risk)
    mean = _by_time(rows, at.mean) / rows.tied[:, None]
    rate, rate_mean = (_by_time(rows, each) for each in (1 / at.total, at.mean / at.total[:, None]))
    while_at_risk = x * _during(rows, rate)[:, None] - _during(rows, rate_mean)
    score = -risk[:, None] * while_at_risk
    own = rows.group[rows.event]
    share, share_mean = (
        _by_time(rows, rows.fraction / at.total),
        _by_time(rows, at.mean * (rows.fraction / at.total)[:, None]),
    )
    kept = risk[rows.event, None] * (x[rows.event] * share[own][:, None] - share_mean[own])
    score[rows.event] += x[rows.event] - mean[own] + kept
    return score


def _linear(rows: RiskSets, beta: np.ndarray) -> tuple[np.ndarray, float]:
    """The linear predictor (n,) and its maximum, taken off before exponents."""
    linear = rows.covariates @ beta
    return linear, float(linear.max(initial=0.0))


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


def _during(rows: RiskSets, values: np.ndarray) -> np.ndarray:
    """Values of event times (E, …) summed over those in each row's (start, stop] (n, …)."""
    total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    until, since = (np.searchsorted(rows.times, each, side="right") for each in (rows.stop, rows.start))
    return total[until] - total[since]
