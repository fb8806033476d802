"""What to type in place of a cell that a person understands and one number cannot hold."""

from __future__ import annotations

import re

from necrostats.registry.codebook import Column
from necrostats.registry.columns import LATEST
from necrostats.registry.quantities.amounts import read_quantity
from necrostats.registry.quantities.numbers import read_count, read_minutes, read_number

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
