"""What is typed into one cell, and what that cell must become: decided where it is typed, never by reading it back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

EITHER, ASKED, ROW = "either", "asked", "row"
UNKNOWN, SET_ASIDE, DUPLICATE = "unknown", "set aside", "duplicate"
HEADING, SKIPPED, IGNORED, NOT_MENTIONED, KEY = "heading", "skipped", "ignored", "not mentioned", "key"
FULL_DATE = "dd/mm/yyyy"


@dataclass(frozen=True, kw_only=True)
class Formula:
    """A formula and the result the file keeps of it; None: the file keeps none."""

    text: str
    result: str | int | float | date | None


Value = str | int | float | bool | date | datetime | Formula | None


@dataclass(frozen=True, kw_only=True)
class Typed:
    """A value with its number format; the columns it fills or its fate; how sure that is; the kind of mess."""

    value: Value
    form: str = ""
    fills: Mapping[str, str] = field(default_factory=dict)
    fate: str = ""
    reading: str = ""
    mess: str = ""


@dataclass(kw_only=True)
class Cell:
    """One cell of a sheet with its truth. `becomes` is ready to be printed; `reading` may change to "row" later."""

    row: int
    column: int
    typed: Typed
    patient: str
    becomes: str
    reading: str
    comment: str = ""
    place: str = ""


def nothing() -> Typed:
    """An empty cell: not written, and no line in the truth."""
    return Typed(value=None)


def as_fills(table: str, place: str, fills: Mapping[str, str]) -> str:
    """`table[place]: column=value, column=value ; …`; a column written `table[place].column` names its own row."""
    rows: dict[str, list[str]] = {}
    for name, value in fills.items():
        own, _, column = name.rpartition(".")
        rows.setdefault(own or (f"{table}[{place}]" if place else table), []).append(f"{column}={value}")
    return " ; ".join(f"{row}: {', '.join(values)}" for row, values in rows.items())


def as_written(value: Value) -> str:
    """The text of a cell for the truth: numbers as `str` shows them, dates in ISO order, formulas by their result."""
    if isinstance(value, Formula):
        return "(no result)" if value.result is None else as_written(value.result)
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    return value.isoformat() if isinstance(value, date) else str(value)
