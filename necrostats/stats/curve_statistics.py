"""Figures of many curves at once, without errors: what a bootstrap takes from each resample."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from necrostats.errors import unknown_choice
from necrostats.stats import checks
from necrostats.stats.curve_terms import area
from necrostats.stats.event_tables import EventTable
from necrostats.stats.products import event_free, incidence_shares
from necrostats.stats.reading_curves import passing_time


@dataclass(frozen=True, kw_only=True, eq=False)
class ManyCurves:
    """The curves of B tables of counts, one a group of `table`, each worked out once."""

    table: EventTable

    @cached_property
    def free(self) -> np.ndarray:
        """Shares free of any event (B, T)."""
        return event_free(self.table)

    @cached_property
    def shares(self) -> np.ndarray:
        """Incidence by cause (B, C, T)."""
        return incidence_shares(self.table, self.free)

    def heights(self, cause: object) -> np.ndarray:
        """The incidence of a cause (B, T), or for None the share free of events."""
        if cause is None:
            return self.free
        names = self.table.causes.tolist()
        if cause not in names:
            raise unknown_choice("cause", cause, names)
        return self.shares[:, names.index(cause)]

    def unknown(self, until: float) -> np.ndarray:
        """Which curves (B,) end before `until` with somebody left free of events."""
        ends = np.append(self.table.time, -1)[self.table.last_observed]
        return (ends < 0) | ((ends < until) & ~(self.free == 0).any(axis=-1))


@dataclass(frozen=True, kw_only=True, eq=False)
class Statistic:
    """A figure by name and how to read it off many curves (B,): infinite = not reached, NaN = not known.

    `smooth`: it moves little by little with each patient, as shares and means do; a median jumps from day to day.
    """

    name: str
    of: Callable[[ManyCurves], np.ndarray]
    smooth: bool = True


def median_of(cause: object = None, *, p: float = 0.5, midpoint: bool = True) -> Statistic:
    """The time by which a share `p` has had an event of the cause (None = of any), by the rule of `quantile`."""
    p = checks.probability("p", p)

    def read(curves: ManyCurves) -> np.ndarray:
        heights = curves.heights(cause)
        rising = 1 - heights if cause is None else heights
        found = passing_time(curves.table, rising, p, midpoint=midpoint)
        return np.where(np.isnan(found), np.where(curves.table.last_observed < 0, np.nan, np.inf), found)

    return Statistic(name=f"{'median' if p == 0.5 else f'{p:.0%} quantile'}{_of(cause)}", of=read, smooth=False)


def height_of(time: float, cause: object = None) -> Statistic:
    """The incidence of the cause at one time; None = the share free of events."""
    time = float(checks.not_negative("time", time))

    def read(curves: ManyCurves) -> np.ndarray:
        place = np.searchsorted(curves.table.time, time, side="right") - 1
        start = 1.0 if cause is None else 0.0
        height = curves.heights(cause)[:, place] if place >= 0 else np.full(curves.table.groups.size, start)
        return np.where(curves.unknown(time), np.nan, height)

    return Statistic(name=f"{'event-free' if cause is None else 'incidence'} at {time:g}{_of(cause)}", of=read)


def restricted_mean_of(tau: float, cause: object = None) -> Statistic:
    """Restricted mean time lost to the cause up to `tau`; None = the restricted mean time free of events."""
    tau = checks.positive("tau", tau)

    def read(curves: ManyCurves) -> np.ndarray:
        whole = curves.table.time.dtype.kind == "i" and tau == np.floor(tau)
        value = area(curves.table.time, curves.heights(cause), 1.0 if cause is None else 0.0, tau)
        return np.where(curves.unknown(tau - whole), np.nan, value)

    return Statistic(name=f"restricted mean to {tau:g}{_of(cause)}", of=read)


def _of(cause: object) -> str:
    return "" if cause is None else f", {cause}"
