"""One cell of the tidy form, by the kind of its column: a value, or a verdict that says why not.

Numbers of the tidy form: one plain number a cell, on its scale, in the way the file writes numbers.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from necrostats.registry import periods
from necrostats.registry.codebook import Column
from necrostats.registry.columns import LATEST
from necrostats.registry.findings import (
    CALENDAR_DATE,
    Verdict,
    clean,
    is_date_with_year,
    is_unknown,
    looks_like_a_date,
    no_value,
)
from necrostats.registry.quantities.amounts import read_quantity
from necrostats.registry.quantities.numbers import read_count, read_minutes, read_number
from necrostats.registry.source_table import shaped
from necrostats.registry.text import as_code, folded, nearest, undefused
from necrostats.registry.words import NO, YES, built_in

_SPELT = {
    "mm": "mm",
    "ml": "ml|cc",
    "%": "%|percent",
    "minutes": "min|mins|minutes|minutos|minuten|'",
    "Fr": "fr|french|f",
}
_UNITS = {"mm": "mm", "ml": "ml", "%": "percent", "percent": "percent"}


def instead(text: str, column: Column) -> str:
    """A remedy that says what to type, as "8 cm: 80."; blank where nothing can be said for certain."""
    typed = _typed(text, column)
    return f"{text}: {typed}." if typed else ""


def _typed(text: str, column: Column) -> str:
    if column.name in ("yield_low", "yield_high"):
        return _yield(text)
    if column.kind == "day":
        return _days(text, column)
    found = _number(text, column)
    if found is None or found.value is None or found.problem or found.question:
        return ""
    return f"{found.value:g}" + (" (about is not kept here)" if found.approximate else "")


def number_in_own_unit(text: str, column: Column) -> float | None:
    """The number of a cell that repeats the unit of its column, "45 mm" or "7 Fr"; None for any other cell."""
    own = _SPELT.get(column.unit)
    found = re.fullmatch(rf"([0-9]+(?:\.[0-9]+)?)\s*(?:{own})\.?", text, re.IGNORECASE) if own else None
    return float(found[1]) if found else None


def _number(text: str, column: Column):
    if column.unit == "minutes":
        return read_minutes(text)
    if column.kind == "whole":
        return read_count(text)
    return read_number(text, unit=_UNITS[column.unit]) if column.unit in _UNITS else None


def _yield(text: str) -> str:
    found = read_quantity(text, default_unit="ml")
    if not found.numeric or found.lavage_ml is not None or found.question:
        return ""
    high = "left blank" if found.high is None else f"{found.high:g}"
    unit = f", yield_unit {found.unit}" if found.unit_written else ""
    about = ", yield_approximate yes" if found.approximate else ""
    return f"yield_low {found.low:g}, yield_high {high}{unit}{about}"


def _days(text: str, column: Column) -> str:
    """A day known as a range has a partner for its end."""
    found = read_quantity(text, default_unit="ml")
    if found.unit_written or found.low is None or found.high is None or found.question or found.low >= found.high:
        return ""
    return f"{column.name} {found.low:g}, {column.name}{LATEST} {found.high:g}"


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
_CLASSES = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
_NINETY_OR_OVER = re.compile(r"90\s*\+|(?:>|≥|>=|over)\s*(?:89|90)")


def number_of(text: str, column: Column, decimal_comma: bool) -> Any:
    """A number as float, None for unknown, or a Verdict. `decimal_comma`: the file writes 12.5 as "12,5".

    A comma that can stand for nothing but a decimal point is one in any file.
    """
    if is_unknown(text):
        return None
    found = _read(text.replace("\u2212", "-"), column, decimal_comma)
    return _shown(found, text) if column.name == "age_years" else found


def _read(text: str, column: Column, decimal_comma: bool) -> Any:
    if column.unit == "days" and looks_like_a_date(text):
        return CALENDAR_DATE
    comma = bool(_COMMA_NUMBER.fullmatch(text))
    if (comma or decimal_comma) and _THOUSANDS.fullmatch(text):
        return _refused("can be a thousand or a decimal", "Write 1200 or 1.2, without a sign for thousands.")
    plain = text.replace(",", ".") if comma else text
    if not _NUMBER.fullmatch(plain):
        return _no_number(text, column)
    value = _on_scale(float(plain), column)
    if isinstance(value, Verdict) or not comma:
        return value
    return Verdict(
        severity="notes",
        rule="DECIMAL_COMMA",
        problem="a decimal comma was read as a decimal point",
        remedy="Nothing to do if the numbers were meant so.",
        value=value,
    )


def _refused(problem: str, remedy: str, rule: str = "NOT_A_NUMBER") -> Verdict:
    return Verdict(rule=rule, problem=problem, remedy=remedy)


def _no_number(text: str, column: Column) -> Verdict:
    if looks_like_a_date(text):
        return CALENDAR_DATE
    if column.name == "age_years" and _NINETY_OR_OVER.fullmatch(text):
        return _age_90()
    if (own := in_own_unit(text, column)) is not None:
        return own
    private = column.name == "age_years"  # a remedy shows the cell
    typed = "" if private or len(text) > _LONGEST else instead(text, column)
    if len(text) <= _LONGEST and _RANGE.fullmatch(text.casefold()):
        return _refused(
            "is a range or an open end where one number belongs",
            typed or "Write one number or leave the cell blank: the middle of a range is never taken.",
            "RANGE",
        )
    return _refused("is not a number", typed or "Write the number alone, without a unit, a sign or a word.")


def in_own_unit(text: str, column: Column) -> Any:
    """A number with the unit of its column, "45 mm", or a class in Roman numerals, "III", said; None for any other."""
    value = _CLASSES.get(text.upper()) if column.name == "asa_class" else number_in_own_unit(text, column)
    if value is None:
        return None
    found = _on_scale(float(value), column)
    if isinstance(found, Verdict):
        return found
    return Verdict(
        severity="notes",
        rule="READ_AS",
        problem=f"was read as {value:g}",
        remedy="Nothing to do if that is what was meant.",
        value=found,
    )


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


FIRST_YEAR, LAST_YEAR, LAST_SEQUENTIAL = 1980, 2100, 9999
_JOINED = re.compile(r"\s*(?:[+,;/&|]|\band\b|\bthen\b)\s*")
_PLAIN_ID = re.compile(r"[A-Z_]*[0-9][A-Z0-9_]*(?:-[A-Z0-9_]+)?")


def read_cell(text: str, column: Column, decimal_comma: bool = False) -> Any:
    """The value of a cell, None for unknown, or a Verdict.

    Numbers, whole numbers and days come as float, yes and no as 1.0 and 0.0, everything else as text.
    """
    written = undefused(clean(text))
    if column.kind != "text" and (verdict := no_value(written)):
        return verdict
    if column.kind in ("whole", "number", "day"):
        return number_of(written, column, decimal_comma)
    return _READERS[column.kind](written, column)


def are_plain_ids(texts: Sequence[str]) -> bool:
    """Whether each text is made of plain capitals and digits, and so is its own value as an id."""
    return all(_PLAIN_ID.fullmatch(shape) for shape in shaped(texts).shapes)


def _read_id(text: str, column: Column) -> Any:
    if is_unknown(text):
        return None
    return CALENDAR_DATE if is_date_with_year(text) else text.upper()


def _read_ids(text: str, column: Column) -> Any:
    if is_unknown(text):
        return None
    parts = [_read_id(clean(part), column) for part in text.split(";")]
    if CALENDAR_DATE in parts:
        return CALENDAR_DATE
    return ";".join(dict.fromkeys(part for part in parts if part)) or None


def _read_text(text: str, column: Column) -> Any:
    if is_unknown(text):
        return None
    return CALENDAR_DATE if looks_like_a_date(text) else text


def _read_yes_no(text: str, column: Column) -> Any:
    form = text.casefold()
    if form in YES or form in NO:
        return float(form in YES)
    if is_unknown(text):
        return None
    if looks_like_a_date(text):
        return CALENDAR_DATE
    return Verdict(rule="NOT_YES_NO", problem="is neither yes nor no", remedy="Write yes or no, or leave it blank.")


def _read_code(text: str, column: Column) -> Any:
    form, listed = as_code(text), {as_code(code): code for code in column.codes}
    if form in listed:
        return listed[form]
    if is_unknown(text):
        return "unknown" if "unknown" in listed and form in ("?", "unk") else None
    code = built_in(column.name).get(folded(text), "")
    if code in column.codes and code.startswith(folded(text)):
        return Verdict(
            severity="notes",
            rule="READ_AS",
            problem=f"was read as {code}",
            remedy="Nothing to do if that is what was meant.",
            value=code,
        )
    return CALENDAR_DATE if looks_like_a_date(text) else _not_listed(form, listed)


def _not_listed(form: str, listed: dict[str, str]) -> Verdict:
    parts = [as_code(part) for part in _JOINED.split(form.replace("_", " "))]
    if len(parts) > 1 and all(part in listed for part in parts if part):
        return Verdict(
            rule="TWO_CODES", problem="holds more than one code", remedy="Write one code, or a row for each."
        )
    found = nearest(form, listed, key=as_code)
    near = f'; the nearest is "{listed[found]}"' if found else ""
    return Verdict(
        rule="NOT_LISTED",
        problem=f"is not on the list{near}",
        remedy=f"Write one of: {', '.join(listed.values())}.",
    )


def _read_period(text: str, column: Column) -> Any:
    if is_unknown(text):
        return None
    label = "".join(text.split()).upper()
    if label.isascii() and periods.is_period(label) and _plausible(label):
        return label
    if looks_like_a_date(text):
        return CALENDAR_DATE
    return Verdict(
        rule="NOT_A_PERIOD", problem="is not a period", remedy="Write a quarter as 2026Q3, or a private period as P07."
    )


def _plausible(label: str) -> bool:
    place = periods.ordinal(label)
    return place <= LAST_SEQUENTIAL if label.startswith("P") else FIRST_YEAR <= place // 4 <= LAST_YEAR


_READERS: dict[str, Callable[[str, Column], Any]] = {
    "id": _read_id,
    "ids": _read_ids,
    "text": _read_text,
    "code": _read_code,
    "yes_no": _read_yes_no,
    "period": _read_period,
}
