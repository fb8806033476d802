"""The two kinds of curve: the share still free of events, and the share with an event of each cause."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from necrostats.results import Note
from necrostats.stats.event_tables import EventTable


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
