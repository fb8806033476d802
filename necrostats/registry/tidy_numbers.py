"""Numbers of the tidy form: one plain number a cell, on its scale, in the way the file writes numbers."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from necrostats.registry.codebook import Column
from necrostats.registry.verdicts import CALENDAR_DATE, Verdict, is_unknown, looks_like_a_date

MOST_DAYS = 20_000
MOST = 1e9
OLDEST = 90
OLDEST_LIKELY = 120

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,2})?")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]+,[0-9]+")
_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_RANGE = re.compile(
    r"[<>≤≥].*|.*[0-9+]\s*(?:-|–|—|\bto\b|\.\.|…)\s*[0-9].*|.*[0-9]\s*\+"
    r"|.*\b(?:at least|up to|more than|less than|over|under)\b.*"
)
_LONGEST = 60


def read_number(text: str, column: Column, decimal_comma: bool) -> Any:
    """A number as float, None for unknown, or a Verdict. `decimal_comma`: the file may write 12.5 as "12,5"."""
    if is_unknown(text):
        return None
    found = _read(text.replace("\u2212", "-"), column, decimal_comma)
    return _shown(found, text) if column.name == "age_years" else found


def _read(text: str, column: Column, decimal_comma: bool) -> Any:
    if column.unit == "days" and looks_like_a_date(text):
        return CALENDAR_DATE
    if decimal_comma and _THOUSANDS.fullmatch(text):
        return _refused("can be a thousand or a decimal", "Write 1200 or 1.2, without a sign for thousands.")
    comma = decimal_comma and bool(_COMMA_NUMBER.fullmatch(text))
    plain = text.replace(",", ".") if comma else text
    if not _NUMBER.fullmatch(plain):
        return _no_number(text)
    value = _on_scale(float(plain), column)
    if isinstance(value, Verdict) or not comma:
        return value
    return Verdict(
        severity="notes",
        rule="DECIMAL_COMMA",
        problem="a decimal comma, as the file is separated by semicolons, was read as a decimal point",
        remedy="Nothing to do if the numbers were meant so.",
        value=value,
    )


def _refused(problem: str, remedy: str, rule: str = "NOT_A_NUMBER") -> Verdict:
    return Verdict(rule=rule, problem=problem, remedy=remedy)


def _no_number(text: str) -> Verdict:
    if looks_like_a_date(text):
        return CALENDAR_DATE
    if len(text) <= _LONGEST and _RANGE.fullmatch(text.casefold()):
        return _refused(
            "is a range or an open end where one number belongs",
            "Write one number or leave the cell blank: the middle of a range is never taken.",
            "RANGE",
        )
    if _COMMA_NUMBER.fullmatch(text):
        return _refused("has a comma in it", "Write a decimal point, and no sign for thousands.")
    return _refused("is not a number", "Write the number alone, without a unit, a sign or a word.")


def _on_scale(value: float, column: Column) -> Any:
    if column.unit == "days" and abs(value) > MOST_DAYS:
        return CALENDAR_DATE
    if column.kind in ("whole", "day") and not value.is_integer():
        return _refused("is not a whole number", "Write a whole number: nothing is rounded.", "NOT_WHOLE")
    age = column.name == "age_years"
    low = -MOST if column.low is None else column.low
    high = OLDEST_LIKELY if age else MOST if column.high is None else column.high
    if off := _off(value, low, high):
        return _refused(f"is {off}", "Correct the cell, or leave it blank if the value is unknown.", "OFF_SCALE")
    return _age_90() if age and value > OLDEST else _likely(value, column)


def _off(value: float, low: float | None, high: float | None) -> str:
    if low is not None and value < low:
        return f"below {low:g}"
    return f"above {high:g}" if high is not None and value > high else ""


def _likely(value: float, column: Column) -> Any:
    off = _off(value, column.likely_low, column.likely_high)
    if not off:
        return value
    unit = "" if column.unit in ("", "in yield_unit") else f" {column.unit}"
    return Verdict(
        severity="asks",
        rule="UNLIKELY",
        problem=f"is {off}{unit}, which is unlikely",
        remedy="The value is kept as it stands. Correct it if it is a slip of the pen.",
        value=value,
    )


def _age_90() -> Verdict:
    return Verdict(
        severity="notes",
        rule="AGE_90",
        problem="an age over 90 became 90, which stands for 90 and over",
        remedy="Nothing to do: an exact age above 89 can point to a person, so it is not kept.",
        value=float(OLDEST),
        withheld=True,
    )


def _shown(found: Any, text: str) -> Any:
    """An age cell that may hold an age over 89 is not shown, whatever else is wrong with it."""
    old = any(int(number[:9]) >= OLDEST for number in re.findall(r"[0-9]+", text))
    if not old or not isinstance(found, Verdict) or found.withheld:
        return found
    return replace(found, withheld=True, problem=f"value withheld: {found.problem}")
