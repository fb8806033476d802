"""What can be said of one cell of the tidy form before its kind is known: blank, a formula error, a calendar date."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from necrostats.registry.text import Unread, is_blank, without_value

_DIGIT = re.compile(r"[0-9]")
_YEAR = r"(?:19|20)[0-9]{2}"
_DAY, _MONTH = r"(?:0?[1-9]|[12][0-9]|3[01])", r"(?:0?[1-9]|1[0-2])"
_MONTH_NAME = (
    "(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|"
    "oct(?:ober)?|nov(?:ember)?|dec(?:ember)?)"
)
_PART = r"[0-9]{0,2}(?:st|nd|rd|th)?[ .,'’/-]*"
_WITH_YEAR = re.compile(
    rf"{_YEAR}[./-][0-9]{{1,2}}[./-][0-9]{{1,2}}(?![0-9]).*|[0-9]{{1,2}}[./-][0-9]{{1,2}}[./-]{_YEAR}(?![0-9]).*"
)
_ANY_DATE = re.compile(
    rf"[0-9]{{1,4}}[./-][0-9]{{1,2}}[./-][0-9]{{1,4}}(?![0-9]).*"
    rf"|{_MONTH}[./-]{_YEAR}|{_YEAR}[./-]{_MONTH}|{_DAY}/{_MONTH}|{_MONTH}/{_DAY}"
    rf"|{_PART}(?:early |mid |late )?{_MONTH_NAME}[ .,'’/-]*{_PART}[0-9]{{0,4}}(?:[ T][0-9:]+)?",
    re.IGNORECASE,
)
TIME_MARK = "0000-00-00"
_LONGEST_DATE = 40


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What is wrong with a cell, and what to do. `value` is what is kept of it (None = nothing).

    A cell with `withheld` is never shown.
    """

    rule: str
    problem: str
    remedy: str
    severity: str = "stops"
    value: Any = None
    withheld: bool = False


CALENDAR_DATE = Verdict(
    rule="CALENDAR_DATE",
    problem="value withheld: looks like a calendar date",
    remedy="The tidy form holds whole days from the index drainage (day 0), never dates. Write the number of days.",
    withheld=True,
)
NO_RESULT = Verdict(
    rule="NO_RESULT",
    problem="holds a formula whose result was not kept",
    remedy="Let the workbook calculate and save it again, or write the value itself into the cell.",
)


def clean(text: str) -> str:
    """A text without blanks and invisible marks at its ends, its letters composed."""
    if text.isascii():
        return text.strip()
    return unicodedata.normalize("NFC", text).strip("\u200b\ufeff\u200e\u200f \t\r\n\xa0").strip()


def is_unknown(text: str) -> bool:
    """Whether a cell says that nothing is known: blank, "-", "n/a", "?", "not recorded"."""
    return not text or (not _DIGIT.search(text) and _says_nothing(text))


@lru_cache(maxsize=4096)
def _says_nothing(text: str) -> bool:
    return is_blank(text)


def no_value(text: str) -> Verdict | None:
    """The verdict on a cell that cannot hold a value: a formula error, or "as before"; None for any other."""
    if _DIGIT.search(text) and not text.startswith("#"):
        return None
    problem = _nothing_to_read(text)
    if not problem:
        return None
    return Verdict(rule="NO_VALUE", problem=problem, remedy="Write the value itself into the cell.")


@lru_cache(maxsize=4096)
def _nothing_to_read(text: str) -> str:
    try:
        without_value(text)
    except Unread as unread:
        return str(unread)
    return ""


def is_date_with_year(text: str) -> bool:
    """Whether a cell is, beyond doubt, a full calendar date (or a time of day out of a workbook)."""
    return bool(_WITH_YEAR.fullmatch(text)) or text.startswith(TIME_MARK)


def looks_like_a_date(text: str) -> bool:
    """Whether a whole cell can be read as a calendar date, or as a month of a year."""
    return len(text) <= _LONGEST_DATE and (is_date_with_year(text) or bool(_ANY_DATE.fullmatch(text)))
