"""What a contrast is measured against: 1 for a ratio, 0 for a difference."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from necrostats.present import numbers
from necrostats.present.cells import exposure, fraction, spoken_interval
from necrostats.present.wording import in_order, plain, sentence_case

NOT_ESTIMABLE = "not estimable"
NO_UPPER_LIMIT = "no upper limit"
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
    return row.estimate * factor, row.low * factor, row.high * factor


def _written(row) -> tuple[str, str]:
    estimate, low, high = _scaled(row)
    if not contrast_of(row.measure).unit:
        return _amount(estimate), _amounts(estimate, low, high)
    point = numbers.rounded(estimate, 1) if numbers.known(estimate) else ""
    if not (numbers.known(low) and numbers.known(high)):
        return point, numbers.NO_INTERVAL
    return point, numbers.joined(numbers.rounded(low, 1), numbers.rounded(high, 1))


def _amount(estimate: float) -> str:
    return NOT_ESTIMABLE if numbers.known(estimate) and math.isinf(estimate) else numbers.amount(estimate)


def _amounts(estimate: float, low: float, high: float) -> str:
    """The limits of a ratio; one that is infinite in words, one above 0 never as 0.00."""
    if numbers.known(low) and numbers.known(high):
        if math.isinf(high):
            return numbers.joined(numbers.amount(low), NO_UPPER_LIMIT)
        if 0 < low < 0.5 * 10 ** -numbers.amount_decimals(estimate):
            return numbers.joined(numbers.amount(low), numbers.amount(high))
    return numbers.amount_range(estimate, low, high)


def text(row) -> str:
    """A contrast with its interval as "1.42 (1.05–1.92)"; a test of whole curves by its statistic."""
    point, limits = _written(row)
    return f"{point} ({limits})" if point else _unestimated(row)


def spoken(row, level: float) -> str:
    """A contrast as it stands in a sentence: "1.42 (95 % CI 1.05–1.92; p = 0.023)"."""
    point, limits = _written(row)
    if not point:
        tested = numbers.p_value(row.p_value) if numbers.known(row.statistic) else ""
        return "; ".join(part for part in (_unestimated(row), tested) if part)
    unit = contrast_of(row.measure).unit
    inside = "; ".join(part for part in (spoken_interval(limits, level), numbers.p_value(row.p_value)) if part)
    return f"{point}{' ' + unit if unit else ''} ({inside})"


def _unestimated(row) -> str:
    """What stands for a contrast without a figure: the statistic of its test, where it has one."""
    return f"statistic {numbers.rounded(row.statistic, 2)}" if numbers.known(row.statistic) else "not estimated"


def variables(table: pd.DataFrame) -> list:
    """What was compared, where a table of contrasts says so."""
    return in_order(table["variable"]) if "variable" in table.columns else []


def subject(row) -> str:
    """What a contrast is of, and its measure: "Bleeding: risk ratio"; the measure alone where only that is known."""
    name = heading(row.measure)
    variable = getattr(row, "variable", None)
    return name if variable is None else f"{sentence_case(plain(variable))}: {name[:1].lower()}{name[1:]}"


def counts(row) -> tuple[str, str]:
    """Events over n of the group and of the reference, where the table has them: ("25 / 80", "24 / 59")."""
    if not numbers.known(getattr(row, "n_ref", None)):
        return "", ""
    return fraction(row.events, row.n), fraction(row.events_ref, row.n_ref)


def spoken_counts(row) -> str:
    """The counts in a sentence: "25 of 80 v 24 of 59 patients", "18 in 3,060 v 26 in 4,810 patient-days"."""
    each = counts(row)
    if not any(each):
        return ""
    unit = exposure(row.unit)
    link = " of " if unit == row.unit else " in "
    return f"{' v '.join(count.replace(' / ', link) for count in each)} {unit}"


def rules(table: pd.DataFrame) -> tuple[str, ...]:
    """Why each test was taken, each sentence once, where a table of contrasts says so."""
    return tuple(dict.fromkeys(table["rule"])) if "rule" in table.columns else ()


def p_heading(table: pd.DataFrame) -> str:
    """The heading of the p-values, which says when they are adjusted."""
    if "p_unadjusted" not in table.columns:
        return "p-value"
    adjusted = table["p_value"].notna() & (table["p_unadjusted"] != table["p_value"])
    return "p-value, Holm" if adjusted.any() else "p-value"
