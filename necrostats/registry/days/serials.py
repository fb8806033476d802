"""Dates as a workbook keeps them: serial numbers in two systems, and the precision that a number format shows.

Office Open XML (ECMA-376 Part 1, 18.17.4; from memory): in the 1900 system 1 is 1900-01-01 and 60 stands for a
29 February 1900 that never was; the 1904 system starts with 0 on 1904-01-01 and runs 1,462 days behind.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Literal

from necrostats.errors import unknown_choice
from necrostats.registry.quantities.cells import Unread

DateSystem = Literal["1900", "1904"]
DATE_SYSTEMS = ("1900", "1904")
_DAY_THAT_NEVER_WAS = 60
_NOT_SHOWN = re.compile(r'"[^"]*"|\[(?![hms]+\])[^\]]*\]|\\.|_.|\*.', re.IGNORECASE)
_MINUTES = re.compile(r"(?<=h)[^a-z]*m+|m+(?=[^a-z]*s)")


def from_serial(number: float, system: DateSystem) -> date:
    """The date of a serial number, its time of day dropped; Unread if the system has no such date."""
    whole = int(number // 1)
    if system == "1904":
        start = date(1904, 1, 1)
    elif system == "1900":
        start = date(1899, 12, 31) if whole < _DAY_THAT_NEVER_WAS else date(1899, 12, 30)
    else:
        raise unknown_choice("date system", system, DATE_SYSTEMS)
    impossible = whole < 0 or (system == "1900" and whole in (0, _DAY_THAT_NEVER_WAS))
    try:
        found = start + timedelta(days=whole)
    except OverflowError:
        impossible = True
    if impossible:
        raise Unread("is not a date")
    return found


def precision_shown(number_format: str | None) -> str:
    """ "day", "month" or "year": as much of a date as its number format shows; "mmm-yy" shows a month.

    Unread for a format that shows a time only, or a day without its year. A format that shows no part of a
    date or time ("General") hides nothing.
    """
    shown = _NOT_SHOWN.sub("", number_format or "").casefold().split(";")[0]
    if "general" in shown or not set(shown) & set("dmyhs"):
        return "day"
    dated = _MINUTES.sub("", shown)
    has_day = bool(re.search(r"(?<!d)d{1,2}(?!d)", dated))
    if "y" not in dated:
        raise Unread("is shown without its year" if has_day or "m" in dated else "is a time of day, not a date")
    return "day" if has_day and "m" in dated else "month" if "m" in dated else "year"
