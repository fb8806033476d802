"""The horizontal scale of a panel: linear, percent or logarithmic, with round ticks and a reference line."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from matplotlib.ticker import MaxNLocator

from necrostats.present import numbers
from necrostats.present.labels import width_of
from necrostats.present.style import SMALL

_WIDEST = 50.0  # a logarithmic scale reaches no further than this many times beyond its outermost estimates


@dataclass(frozen=True, kw_only=True)
class Scale:
    """From low to high, with ticks. `factor` turns a share into per cent when ticks are written."""

    label: str
    low: float
    high: float
    ticks: tuple[float, ...]
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
        """The ticks that fit beside each other on so many inches."""
        widest = max((width_of(self.tick_label(tick), SMALL) for tick in self.ticks), default=0.1) + 0.1
        room = max(2, int(width / widest))
        step = math.ceil(len(self.ticks) / room)
        return list(self.ticks[::step])


def _finite(values: Iterable[float]) -> list[float]:
    return [float(value) for value in values if numbers.known(value) and math.isfinite(value)]


def from_zero(values: Iterable[float], *, label: str, factor: float = 1.0, most: float = math.inf) -> Scale:
    """A linear scale from 0 to just above the largest value, and never beyond `most`."""
    high = max(_finite(values), default=0) or min(most, 1.0)
    ticks = [tick for tick in MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(0, high * factor) if tick >= 0]
    kept = tuple(float(tick) / factor for tick in ticks if tick / factor <= most + 1e-9)
    return Scale(label=label, low=0.0, high=max(kept), ticks=kept, factor=factor)


def whole_percent(label: str) -> Scale:
    """A share on the whole way from 0 to 100 %."""
    return Scale(label=label, low=0.0, high=1.0, ticks=(0, 0.2, 0.4, 0.6, 0.8, 1.0), factor=100)


def around_zero(values: Iterable[float], *, label: str, factor: float = 1.0) -> Scale:
    """A linear scale that holds every value and 0, with a reference line at 0."""
    found = [0.0, *_finite(values)]
    low, high = min(found), max(found)
    if low == high:
        low, high = -1 / factor, 1 / factor
    ticks = MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(low * factor, high * factor)
    kept = tuple(float(tick) / factor for tick in ticks)
    return Scale(label=label, low=kept[0], high=kept[-1], ticks=kept, factor=factor, reference=0.0)


def around_values(values: Iterable[float], *, label: str) -> Scale:
    """A linear scale that holds every value, wherever it lies."""
    found = _finite(values) or [0.0, 1.0]
    low, high = min(found), max(found)
    spare = (high - low) * 0.04 or max(abs(low) * 0.1, 1.0)
    low = 0.0 if 0 <= low < high * 0.6 else low - spare
    ticks = MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high + spare)
    kept = tuple(float(tick) for tick in ticks)
    return Scale(label=label, low=kept[0], high=kept[-1], ticks=kept)


def _log_ticks(low: float, high: float) -> tuple[float, ...]:
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    wide = high / low > 300
    ticks = [digit * 10.0**power for power in powers for digit in ((1,) if wide else (1, 2, 5))]
    return tuple(tick for tick in ticks if low * (1 - 1e-9) <= tick <= high * (1 + 1e-9))


def logarithmic(
    estimates: Iterable[float], limits: Iterable[float], *, label: str, reference: float | None = None
) -> Scale:
    """A logarithmic scale for positive values; limits that lie absurdly far out are cut."""
    middle = [value for value in _finite(estimates) if value > 0] + ([reference] if reference else [])
    middle = middle or [1.0, 100.0]
    least, most = min(middle) / _WIDEST, max(middle) * _WIDEST
    found = middle + [value for value in _finite(limits) if least <= value <= most]
    low, high = min(found) / 1.15, max(found) * 1.15
    if high / low < 4:
        low, high = low / math.sqrt(4 * low / high), high * math.sqrt(4 * low / high)
    return Scale(label=label, low=low, high=high, ticks=_log_ticks(low, high), log=True, reference=reference)
