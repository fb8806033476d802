"""Series in which one of two causes ends each course, with constant hazards, and what is true of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LAST_SEEN = (45, 300)


@dataclass(frozen=True, kw_only=True)
class Ends:
    """The whole day each course ended (N,), and the cause: 0 where follow-up ended first."""

    time: np.ndarray
    cause: np.ndarray


def ends(rng: np.random.Generator, hazards: tuple, whose: np.ndarray, frailty: float | np.ndarray = 1.0) -> Ends:
    """Ends of courses; `whose` (N,) patient they are of: all of one patient are followed to one day.

    Each hazard is a number or one a course, times `frailty`; follow-up ends anywhere from day 45 to day 300.
    """
    first, second = (np.ceil(rng.exponential(1, whose.size) / (hazard * frailty)) for hazard in hazards)
    last = rng.integers(LAST_SEEN[0], LAST_SEEN[1] + 1, int(whose.max()) + 1)[whose]
    both = np.minimum(first, second)
    cause = np.where(both > last, 0, np.where(first <= second, 1, 2))
    return Ends(time=np.minimum(both, last).astype(np.int64), cause=cause)


@dataclass(frozen=True, kw_only=True)
class Truth:
    """Just after each day (D,): the share free of events, and the share with an event of the first cause."""

    free: np.ndarray
    first: np.ndarray


def truth(hazards: tuple[float, float], days: np.ndarray) -> Truth:
    """What is true of courses without frailty, both causes counted on whole days, the first before the second."""
    first, second = (1 - np.exp(-hazard) for hazard in hazards)
    daily_free = (1 - first) * (1 - second)
    free = daily_free**days
    return Truth(free=free, first=first * (1 - free) / (1 - daily_free))
