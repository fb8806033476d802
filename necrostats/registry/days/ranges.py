"""The first and the last day that a cell can mean."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass, field
from datetime import date

from necrostats.registry.quantities.cells import Unread

YEARS = range(1900, 2100)
_PARTS = {"early": (1, 10), "mid": (11, 20), "late": (21, 31)}


@dataclass(frozen=True, kw_only=True)
class DateRange:
    """A date as written, as the first and last day it can be: equal when exact, both None when unknown.

    No date shows in its repr. `problem` says why a cell was set aside, `question` what to ask about one that was
    kept; both continue the sentence that begins with the cell, and never repeat what is in it.
    """

    first: date | None = field(default=None, repr=False)
    last: date | None = field(default=None, repr=False)
    rule: str
    problem: str = ""
    question: str = ""
    as_written: str = field(default="", repr=False)

    @property
    def known(self) -> bool:
        """Whether it holds a date at all."""
        return self.first is not None

    @property
    def exact(self) -> bool:
        """Whether it is one day."""
        return self.known and self.first == self.last


def day_of(year: int, month: int, day: int, rule: str) -> DateRange:
    """One day; the whole month or year where day or month is written as 0; Unread if there is no such date."""
    if year not in YEARS:
        raise Unread("has a year that no date here can have")
    if day == 0:
        return month_of(year, month) if month else year_of(year)
    try:
        exact = date(year, month, day)
    except ValueError:
        raise Unread("is not a date") from None
    return DateRange(first=exact, last=exact, rule=rule)


def month_of(year: int, month: int, part: str = "") -> DateRange:
    """A month, or its early (1-10), mid (11-20) or late (21-end) part; Unread if there is no such month."""
    if year not in YEARS or not 1 <= month <= 12:
        raise Unread("is not a month of a year")
    start, end = _PARTS.get(part, (1, 31))
    last = min(end, monthrange(year, month)[1])
    question = "is read as a third of the month: 1-10, 11-20 or 21-end" if part else ""
    rule = "part of a month" if part else "month"
    return DateRange(first=date(year, month, start), last=date(year, month, last), rule=rule, question=question)


def year_of(year: int) -> DateRange:
    """A whole year, asked about; Unread if no date here can have it."""
    if year not in YEARS:
        raise Unread("has a year that no date here can have")
    question = "gives a year and nothing more"
    return DateRange(first=date(year, 1, 1), last=date(year, 12, 31), rule="year", question=question)


def quarter_of(year: int, quarter: int) -> DateRange:
    """A calendar quarter."""
    start, end = month_of(year, quarter * 3 - 2), month_of(year, quarter * 3)
    return DateRange(first=start.first, last=end.last, rule="quarter")
