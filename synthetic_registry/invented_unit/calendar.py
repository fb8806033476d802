"""The unit's calendar: days since its first day, and the quarter of each. Dates never leave this file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from invented_unit.parameters import Parameters


@dataclass(frozen=True, kw_only=True, eq=False)
class Calendar:
    """`quarter[d]` is the place in `labels` of day `d`; the last day is the data lock."""

    labels: tuple[str, ...]
    quarter: np.ndarray

    @property
    def last(self) -> int:
        """The day of the data lock."""
        return len(self.quarter) - 1

    def quarter_of(self, day: np.ndarray) -> np.ndarray:
        """The quarter of each day; days after the lock count as its quarter."""
        return self.quarter[np.minimum(day, self.last)]

    def first_day_of(self, label: str) -> int:
        """The first day of a quarter."""
        return int(np.argmax(self.quarter == self.labels.index(label)))


def calendar_of(parameters: Parameters) -> Calendar:
    """The calendar from the first day to the data lock."""
    days = np.arange(np.datetime64(parameters.first_day), np.datetime64(parameters.lock_day) + 1)
    months = days.astype("datetime64[M]").astype(np.int64)
    number = 1970 * 4 + months // 3
    labels = tuple(f"{each // 4}Q{each % 4 + 1}" for each in range(int(number[0]), int(number[-1]) + 1))
    return Calendar(labels=labels, quarter=(number - number[0]).astype(np.int16))
