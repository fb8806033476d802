"""One cell of the tidy form, by the kind of its column: a value, or a verdict that says why not."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Sequence
from typing import Any

from necrostats.registry import periods
from necrostats.registry.codebook import Column
from necrostats.registry.defusing import undefused
from necrostats.registry.shapes import shaped
from necrostats.registry.tidy_numbers import read_number
from necrostats.registry.verdicts import (
    CALENDAR_DATE,
    Verdict,
    clean,
    is_date_with_year,
    is_unknown,
    looks_like_a_date,
    no_value,
)

YES, NO = frozenset(("yes", "y", "true", "1", "1.0")), frozenset(("no", "n", "false", "0", "0.0"))
FIRST_YEAR, LAST_YEAR, LAST_SEQUENTIAL = 1980, 2100, 9999
_JOINED = re.compile(r"\s*(?:[+,;/&|]|\band\b|\bthen\b)\s*")
_PLAIN_ID = re.compile(r"[A-Z_]*[0-9][A-Z0-9_]*(?:-[A-Z0-9_]+)?")
_LONGEST_SHOWN = 80


def read_cell(text: str, column: Column, decimal_comma: bool = False) -> Any:
    """The value of a cell, None for unknown, or a Verdict.

    Numbers, whole numbers and days come as float, yes and no as 1.0 and 0.0, everything else as text.
    """
    written = undefused(clean(text))
    if column.kind != "text" and (verdict := no_value(written)):
        return verdict
    if column.kind in ("whole", "number", "day"):
        return read_number(written, column, decimal_comma)
    return _READERS[column.kind](written, column)


def are_plain_ids(texts: Sequence[str]) -> bool:
    """Whether each text is made of plain capitals and digits, and so is its own value as an id."""
    return all(_PLAIN_ID.fullmatch(shape) for shape in shaped(texts).shapes)


def fold(text: str) -> str:
    """A code or a heading whatever its case and blanks: "Lesser  sac" → "lesser_sac"."""
    return "_".join(text.casefold().split())


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
    folded = text.casefold()
    if folded in YES or folded in NO:
        return float(folded in YES)
    if is_unknown(text):
        return None
    if looks_like_a_date(text):
        return CALENDAR_DATE
    return Verdict(rule="NOT_YES_NO", problem="is neither yes nor no", remedy="Write yes or no, or leave it blank.")


def _read_code(text: str, column: Column) -> Any:
    folded = fold(text)
    listed = {fold(code): code for code in column.codes}
    if folded in listed:
        return listed[folded]
    if is_unknown(text):
        return "unknown" if "unknown" in listed and folded in ("?", "unk") else None
    return CALENDAR_DATE if looks_like_a_date(text) else _not_listed(folded, listed)


def _not_listed(folded: str, listed: dict[str, str]) -> Verdict:
    parts = [fold(part) for part in _JOINED.split(folded.replace("_", " "))]
    if len(parts) > 1 and all(part in listed for part in parts if part):
        return Verdict(
            rule="TWO_CODES", problem="holds more than one code", remedy="Write one code, or a row for each."
        )
    near = difflib.get_close_matches(folded[:_LONGEST_SHOWN], list(listed), n=1)
    hint = f'; the nearest is "{listed[near[0]]}"' if near else ""
    return Verdict(
        rule="NOT_LISTED",
        problem=f"is not on the list{hint}",
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
