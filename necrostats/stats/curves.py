"""The two kinds of curve: the share still free of events, and the share with an event of each cause.

Reading a curve: the time at which it passes a share, and its height at a time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.event_tables import EventTable
from necrostats.stats.intervals import limits, unbiased, wider


@dataclass(frozen=True, kw_only=True, eq=False)
class Survival:
    """The share free of any event just after each time of `table`; every array (G, T).

    After the last time a group was observed all is NaN, unless the curve had already reached 0. Where the curve
    is 1 the limits are [1, 1]; where it is 0 the error and the limits are undefined (NaN).
    """

    table: EventTable
    level: float
    estimate: np.ndarray
    std_error: np.ndarray
    low: np.ndarray
    high: np.ndarray
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class CumulativeIncidence:
    """The share with an event of each cause by each time of `table`; arrays (G, C, T), `event_free` (G, T).

    After the last time a group was observed all is NaN, unless nobody was left free of events. Where the
    incidence is 0 or 1 the limits are undefined (NaN), as in R's survfit.
    """

    table: EventTable
    level: float
    estimate: np.ndarray
    std_error: np.ndarray
    low: np.ndarray
    high: np.ndarray
    event_free: np.ndarray
    notes: tuple[Note, ...] = ()


SAME_HEIGHT = float(np.sqrt(np.finfo(float).eps))


@dataclass(frozen=True, kw_only=True, eq=False)
class LevelStretch:
    """Where curves run level at exactly a share, from the time `first` to `last`; both are the same where they do not.

    NaN = the share is not reached. A stretch that lasts to the end of follow-up ends there.
    """

    first: np.ndarray
    last: np.ndarray


@dataclass(frozen=True, kw_only=True, eq=False)
class Quantile:
    """Times by which a share `p` has had an event, (G,) for survival, (G, C) for incidence; NaN = not reached.

    Every time of `stretch` fits as well as `estimate`.
    """

    p: float
    estimate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    stretch: LevelStretch
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True, kw_only=True, eq=False)
class Heights:
    """A curve at K times: `at_risk` just before each (G, K); the rest (G, K) or (G, C, K), NaN where not observed."""

    time: np.ndarray
    at_risk: np.ndarray
    estimate: np.ndarray
    std_error: np.ndarray
    low: np.ndarray
    high: np.ndarray


def quantile(curve: Survival | CumulativeIncidence, p: float = 0.5, *, midpoint: bool = True) -> Quantile:
    """The time by which a share `p` has had an event, with limits where the band's edges pass `p`.

    Where the curve runs level at exactly `p`, the middle of that stretch (R's rule); `midpoint=False` takes its
    start, the smallest time with an incidence of `p` or more, as is usual for counts such as sessions.
    Brookmeyer R, Crowley J. Biometrics 1982;38:29-41. NaN and a note where `p` is not reached.
    """
    p = checks.probability("p", p)
    rising, early, late = _incidences(curve)
    edges = [passing_time(curve.table, each, p, midpoint=midpoint) for each in (rising, early, late)]
    notes = _not_reached(np.isnan(edges[0]), p)
    stretch = _stretch(curve.table, rising, p)
    return Quantile(p=p, estimate=edges[0], low=edges[1], high=edges[2], stretch=stretch, notes=notes)


def at(curve: Survival | CumulativeIncidence, times: ArrayLike, *, extend: bool = False) -> Heights:
    """The curve just after each of K times. After the last time observed NaN, or with `extend` its last height."""
    when = np.atleast_1d(checks.times("times", times))
    last = curve.table.last_observed
    start = 1.0 if isinstance(curve, Survival) else 0.0
    step = np.searchsorted(curve.table.time, checks.snapped(when, curve.table.time), side="right") - 1
    step = np.minimum(step, last[:, None])
    hidden = np.broadcast_to(last[:, None] < 0, step.shape)
    if not extend:
        hidden = hidden | _past_the_end(curve, when)

    def heights(values: np.ndarray, first: float) -> np.ndarray:
        index, cover = (each if values.ndim == 2 else each[:, None] for each in (step, hidden))
        padded = np.concatenate([np.full((*values.shape[:-1], 1), first), values], axis=-1)
        return np.where(cover, np.nan, np.take_along_axis(padded, index + 1, axis=-1))

    edge = start if isinstance(curve, Survival) else np.nan
    return Heights(
        time=when,
        at_risk=curve.table.risk_at(when),
        estimate=heights(curve.estimate, start),
        std_error=heights(curve.std_error, 0.0),
        low=heights(curve.low, edge),
        high=heights(curve.high, edge),
    )


def _not_reached(missed: np.ndarray, p: float) -> tuple[Note, ...]:
    if not missed.any():
        return ()
    which = "The curve does" if missed.size == 1 else f"{np.count_nonzero(missed)} of {missed.size} curves do"
    return (Note(code="NOT_REACHED", text=f"{which} not reach {p:.0%}."),)


def _past_the_end(curve: Survival | CumulativeIncidence, when: np.ndarray) -> np.ndarray:
    """Where a group was no longer observed at a time, with somebody left free of events (G, K)."""
    free = curve.estimate if isinstance(curve, Survival) else curve.event_free
    finished = (free == 0).any(axis=-1)
    ends = np.append(curve.table.time, -1)[curve.table.last_observed]
    return (checks.snapped(when, curve.table.time) > ends[:, None]) & ~finished[:, None]


def _incidences(curve: Survival | CumulativeIncidence) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The share with an event, then the edge of the band that passes a share first, and the one that passes last."""
    if isinstance(curve, Survival):
        return 1 - curve.estimate, 1 - curve.low, 1 - curve.high
    return curve.estimate, curve.high, curve.low


def passing_time(table: EventTable, height: np.ndarray, p: float, *, midpoint: bool = True) -> np.ndarray:
    """The time at which a rising curve (…, T) on the times of `table` passes `p`, by the rule of `quantile`."""
    stretch = _stretch(table, height, p)
    return (stretch.first + stretch.last) / 2 if midpoint else stretch.first


def _stretch(table: EventTable, height: np.ndarray, p: float) -> LevelStretch:
    known = np.nan_to_num(height, nan=-1.0)
    reached, beyond = known >= p - SAME_HEIGHT, known > p + SAME_HEIGHT
    first = _first_time(table.time, reached)
    ends = np.append(table.time, -1)[table.last_observed].reshape(-1, *(1,) * (height.ndim - 2))
    last = np.where(beyond.any(axis=-1), _first_time(table.time, beyond), ends)
    return LevelStretch(first=first, last=np.where(np.isnan(first), np.nan, last))


def _first_time(time: np.ndarray, passed: np.ndarray) -> np.ndarray:
    """The first time marked, NaN if none is."""
    place = np.where(passed.any(axis=-1), passed.argmax(axis=-1) if time.size else 0, time.size)
    return np.append(time.astype(float), np.nan)[place]


def widened(curve: CumulativeIncidence, clusters: ArrayLike) -> CumulativeIncidence:
    """The curve with limits by t on clusters − 1 and its variance times clusters / (clusters − 1).

    `clusters` (G,): how many each group has; one cluster, or none, gives no limits. With many the limits are those of
    `aalen_johansen`. Normal limits hold the truth too seldom with 15 clusters: tests/simulations.
    """
    number = checks.not_negative("clusters", clusters)
    checks.one_length(clusters=number, groups=curve.table.groups)
    error = curve.std_error * (wider(curve.level, number) * unbiased(number))[:, None, None]
    band = limits(curve.estimate, error, curve.level, "log-log")
    return replace(curve, low=band.low, high=band.high)
