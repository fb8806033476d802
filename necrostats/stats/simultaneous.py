"""A band that holds the whole of a survival curve at once, where pointwise limits hold each point by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from necrostats.errors import StatisticsError
from necrostats.results import Note
from necrostats.stats import checks
from necrostats.stats.incidence import kaplan_meier


@dataclass(frozen=True, kw_only=True, eq=False)
class Band:
    """Times (t,) within the band, the curve and the band's edges there; `critical` stands where z stands pointwise."""

    time: np.ndarray
    estimate: np.ndarray
    low: np.ndarray
    high: np.ndarray
    critical: float
    level: float
    notes: tuple[Note, ...] = ()


def equal_precision_band(
    time: ArrayLike, event: ArrayLike, *, start: float | None = None, end: float | None = None, level: float = 0.95
) -> Band:
    """Nair's equal-precision band of the Kaplan–Meier curve from `start` to `end`, on the log-log scale.

    By default from the first to the last event with a share above 0. Proportional to the pointwise limits, so that it
    reads as a wider version of them. Nair VN. Technometrics 1984;26:265-275; critical value by Miller and Siegmund's
    approximation, Biometrics 1982;38:1011-1016. Fewer than two events in it: NaN and a note.
    """
    level = checks.confidence_level(level)
    curve = kaplan_meier(time, event)
    when, share, error = curve.table.time, curve.estimate[0], curve.std_error[0]
    inside = (share > 0) & (share < 1) & np.isfinite(error) & (error > 0)
    inside &= (when >= (-np.inf if start is None else start)) & (when <= (np.inf if end is None else end))
    if start is not None and end is not None and start >= end:
        raise StatisticsError(f"The band would run from {start:g} to {end:g}: start must lie before end.")
    relative = (error / np.where(share > 0, share, 1)) ** 2 * float(np.size(time))
    happened = inside & (curve.table.all_events[0] > 0)
    if np.count_nonzero(happened) < 2:
        note = Note(code="SMALL_N", text="Fewer than two events lie within the band: none is drawn.")
        none = np.full(int(inside.sum()), np.nan)
        return Band(
            time=when[inside], estimate=share[inside], low=none, high=none, critical=np.nan, level=level, notes=(note,)
        )
    edges = relative[happened][[0, -1]] / (1 + relative[happened][[0, -1]])
    critical = equal_precision_critical(*edges, level=level)
    width = np.exp(critical * error[inside] / (share[inside] * np.abs(np.log(share[inside]))))
    return Band(
        time=when[inside],
        estimate=share[inside],
        low=share[inside] ** width,
        high=share[inside] ** (1 / width),
        critical=critical,
        level=level,
    )


def equal_precision_critical(first: float, last: float, *, level: float = 0.95) -> float:
    """The value that a standardised Brownian bridge passes between `first` and `last` (0 to 1) with 1 − `level`."""
    first, last = checks.probability("first", first), checks.probability("last", last)
    if first >= last:
        raise StatisticsError(f"The band would run from {first:g} to {last:g}: first must lie before last.")
    odds = np.log(last * (1 - first) / (first * (1 - last)))

    def beyond(value: float) -> float:
        density = stats.norm.pdf(value)
        return 4 * density / value + density * (value - 1 / value) * odds - (1 - level)

    return float(optimize.brentq(beyond, special.ndtri((1 + level) / 2), 10))
