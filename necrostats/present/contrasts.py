"""What a contrast is measured against: 1 for a ratio, 0 for a difference."""

from __future__ import annotations

from dataclasses import dataclass

from necrostats.present import numbers
from necrostats.present.cells import spoken_interval
from necrostats.present.labels import plain, sentence_case

_OF_SHARES = ("risk", "incidence", "share", "proportion")


@dataclass(frozen=True, kw_only=True)
class Contrast:
    """How a measure is drawn and written: the value of no difference, the scale, and the factor for its unit."""

    reference: float
    log: bool
    factor: float = 1.0
    unit: str = ""


def contrast_of(measure: object) -> Contrast:
    """The contrast a measure's name stands for; a difference of shares is given in percentage points."""
    name = str(measure).lower()
    if "ratio" in name:
        return Contrast(reference=1.0, log=True)
    if "difference" in name and any(word in name for word in _OF_SHARES):
        return Contrast(reference=0.0, log=False, factor=100.0, unit="percentage points")
    return Contrast(reference=0.0, log=False)


def heading(measure: object) -> str:
    """A measure with its unit: "Risk difference, percentage points"."""
    unit = contrast_of(measure).unit
    return sentence_case(plain(measure)) + (f", {unit}" if unit else "")


def pair(row) -> str:
    """Who is compared with whom: "cap suction v snare"."""
    return f"{plain(row.group)} v {plain(row.reference)}"


def _scaled(row) -> tuple[float, float, float]:
    factor = contrast_of(row.measure).factor
    return row.estimate * factor, row.conf_low * factor, row.conf_high * factor


def _written(row) -> tuple[str, str]:
    estimate, low, high = _scaled(row)
    if not contrast_of(row.measure).unit:
        return numbers.amount(estimate), numbers.amount_range(estimate, low, high)
    point = numbers.rounded(estimate, 1) if numbers.known(estimate) else ""
    if not (numbers.known(low) and numbers.known(high)):
        return point, numbers.NO_INTERVAL
    return point, numbers.joined(numbers.rounded(low, 1), numbers.rounded(high, 1))


def text(row) -> str:
    """A contrast with its interval as "1.42 (1.05–1.92)"."""
    point, limits = _written(row)
    return f"{point} ({limits})" if point else "not estimated"


def spoken(row, level: float) -> str:
    """A contrast as it stands in a sentence: "1.42 (95 % CI 1.05–1.92; p = 0.023)"."""
    point, limits = _written(row)
    if not point:
        return "not estimated"
    unit = contrast_of(row.measure).unit
    inside = "; ".join(part for part in (spoken_interval(limits, level), numbers.p_value(row.p_value)) if part)
    return f"{point}{' ' + unit if unit else ''} ({inside})"
