"""Numbers as they stand in print: what they can be before rounding."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from necrostats.errors import StatisticsError

_WRITTEN = re.compile(r"\s*([<>≤≥]?)\s*([-−]?)\s*(\d*)(?:[.·](\d*))?\s*%?\s*")
_SLACK = 1e-9


@dataclass(frozen=True, kw_only=True)
class Printed:
    """A printed number: its text, value, decimals, and "<" or ">" where it is a bound."""

    text: str
    value: float
    decimals: int
    bound: str = ""

    @property
    def unit(self) -> float:
        """One unit of the last printed digit."""
        return 10.0**-self.decimals

    def fits(self, value: float) -> bool:
        """Whether `value` could be printed so: within half a unit of the last digit, or on the right side."""
        if not math.isfinite(value):
            return False
        if self.bound:
            return value < self.value + _SLACK if self.bound == "<" else value > self.value - _SLACK
        return abs(value - self.value) <= self.unit / 2 + _SLACK

    def cut_off(self, value: float) -> bool:
        """Whether `value` gives this number when its further digits are dropped instead of rounded."""
        if not math.isfinite(value) or self.bound:
            return False
        return math.trunc(value / self.unit + math.copysign(_SLACK, value)) == round(self.value / self.unit)


def printed(name: str, value: str | float, decimals: int | None = None) -> Printed:
    """A number as printed: text such as "0.80", "<0.001" or "34 %", or a number with its decimals.

    Without `decimals`, those written are taken; a number that lost its trailing zeros needs them. StatisticsError
    where there is no number.
    """
    text = str(value)
    found = _WRITTEN.fullmatch(text)
    if not found or not (found[3] or found[4]):
        raise StatisticsError(f'{name}: "{text}" is not a printed number. Write it as in the paper, such as "0.80".')
    sign, minus, whole, fraction = found[1], found[2], found[3] or "0", found[4] or ""
    size = float(f"{whole}.{fraction or 0}")
    return Printed(
        text=text.strip(), value=-size if minus else size,
        decimals=len(fraction) if decimals is None else decimals,
        bound=sign.replace("≤", "<").replace("≥", ">"),
    )  # fmt: skip
