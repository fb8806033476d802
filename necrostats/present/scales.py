"""The horizontal scale of a panel: linear, percent or logarithmic, with round ticks and a reference line."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from matplotlib.ticker import MaxNLocator

from necrostats.present import numbers
from necrostats.present.labels import width_of
from necrostats.present.style import SMALL

_STEPS = [1, 2, 2.5, 5, 10]
_DIGITS = ((1, 1.5, 2, 3, 4, 5, 6, 8), (1, 2, 3, 5), (1, 2, 5), (1, 3), (1,))
_WIDEST = 10.0  # a logarithmic scale reaches no further than this many times beyond its outermost estimates


@dataclass(frozen=True, kw_only=True)
class Scale:
    """From low to high. `factor` turns a share into per cent when ticks are written."""

    label: str
    low: float
    high: float
    log: bool = False
    factor: float = 1.0
    reference: float | None = None

    def clipped(self, value: float) -> float:
        """A value moved to the nearer end where it lies beyond the scale; NaN stays NaN."""
        return value if math.isnan(value) else min(max(value, self.low), self.high)

    def tick_label(self, tick: float) -> str:
        """A tick as it is written."""
        text = f"{tick * self.factor:.6g}"
        return text.replace("-", numbers.MINUS)

    def ticks_within(self, width: float) -> list[float]:
        """The densest round ticks, at most 7, that do not touch each other on so many inches."""
        choices = [_log_ticks(self.low, self.high, digits) for digits in _DIGITS] if self.log else self._linear()
        fitting = [ticks for ticks in choices if 2 <= len(ticks) <= 7 and self._apart(ticks, width)]
        return list(fitting[0] if fitting else min(choices, key=len))

    def _linear(self) -> list[tuple[float, ...]]:
        return [_linear_ticks(self.low, self.high, self.factor, most) for most in (5, 4, 3, 2, 1)]

    def _place(self, value: float) -> float:
        """Where a value lies between the ends, 0 to 1."""
        low, high, at = (math.log(each) if self.log else each for each in (self.low, self.high, value))
        return (at - low) / (high - low)

    def _apart(self, ticks: tuple[float, ...], width: float) -> bool:
        half = [width_of(self.tick_label(tick), SMALL) / 2 for tick in ticks]
        at = [self._place(tick) * width for tick in ticks]
        return all(at[i + 1] - at[i] > half[i] + half[i + 1] + 0.08 for i in range(len(ticks) - 1))


def _finite(values: Iterable[float]) -> list[float]:
    return [float(value) for value in values if numbers.known(value) and math.isfinite(value)]


def _linear_ticks(low: float, high: float, factor: float, most: int) -> tuple[float, ...]:
    """Round ticks from low to high, in `most` steps or fewer."""
    ticks = MaxNLocator(most, steps=_STEPS).tick_values(low * factor, high * factor) / factor
    spare = (high - low) * 1e-9
    return tuple(float(tick) for tick in ticks if low - spare <= tick <= high + spare)


def _rounded_out(low: float, high: float, factor: float) -> tuple[float, float]:
    """The nearest round ticks beyond both ends."""
    ticks = MaxNLocator(5, steps=_STEPS).tick_values(low * factor, high * factor) / factor
    return float(ticks[0]), float(ticks[-1])


def from_zero(values: Iterable[float], *, label: str, factor: float = 1.0, most: float = math.inf) -> Scale:
    """A linear scale from 0 to just above the largest value, and never beyond `most`."""
    high = max(_finite(values), default=0) or min(most, 1.0)
    return Scale(label=label, low=0.0, high=min(_rounded_out(0, high, factor)[1], most), factor=factor)


def whole_percent(label: str) -> Scale:
    """A share on the whole way from 0 to 100 %."""
    return Scale(label=label, low=0.0, high=1.0, factor=100)


def around_zero(values: Iterable[float], *, label: str, factor: float = 1.0) -> Scale:
    """A linear scale that holds every value and 0, with a reference line at 0."""
    found = [0.0, *_finite(values)]
    low, high = min(found), max(found)
    if low == high:
        low, high = -1 / factor, 1 / factor
    low, high = _rounded_out(low, high, factor)
    return Scale(label=label, low=low, high=high, factor=factor, reference=0.0)


def around_values(values: Iterable[float], *, label: str) -> Scale:
    """A linear scale that holds every value, wherever it lies."""
    found = _finite(values) or [0.0, 1.0]
    low, high = min(found), max(found)
    spare = (high - low) * 0.04 or max(abs(low) * 0.1, 1.0)
    low, high = _rounded_out(0.0 if 0 <= low < high * 0.6 else low - spare, high + spare, 1.0)
    return Scale(label=label, low=low, high=high)


def _log_ticks(low: float, high: float, digits: tuple[float, ...]) -> tuple[float, ...]:
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    return tuple(digit * 10.0**power for power in powers for digit in digits if low <= digit * 10.0**power <= high)


def logarithmic(
    estimates: Iterable[float], limits: Iterable[float], *, label: str, reference: float | None = None
) -> Scale:
    """A logarithmic scale for positive values; limits that lie absurdly far out are cut."""
    middle = [value for value in _finite(estimates) if value > 0] + ([reference] if reference else [])
    middle = middle or [1.0, 100.0]
    least, most = min(middle) / _WIDEST, max(middle) * _WIDEST
    found = middle + [min(max(float(value), least), most) for value in limits if numbers.known(value)]
    low, high = min(found) / 1.15, max(found) * 1.15
    if high / low < 4:
        low, high = low / math.sqrt(4 * low / high), high * math.sqrt(4 * low / high)
    return Scale(label=label, low=low, high=high, log=True, reference=reference)
