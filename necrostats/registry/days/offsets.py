"""Dates to whole days from the index drainage and to quarters; no calendar date shows in anything made here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from necrostats.registry import periods
from necrostats.registry.days.ranges import DateRange


@dataclass(frozen=True, kw_only=True)
class Offset:
    """Whole days from the index drainage, first and last it can be: equal when exact, None when unknown.

    In a table `day_latest` is left blank where `exact`. A `problem` sets the whole case aside.
    """

    day: int | None = None
    day_latest: int | None = None
    problem: str = ""

    @property
    def exact(self) -> bool:
        """Whether it is one day."""
        return self.day is not None and self.day == self.day_latest


def offset(when: DateRange, index: DateRange) -> Offset:
    """Days from the index drainage to `when`; negative before it.

    The index date must be one day: unknown, or known only as a month, it sets the case aside.
    """
    if not index.exact:
        known = "is known only as a range of days" if index.known else "is not known"
        return Offset(problem=f"has an index drainage whose day {known}")
    if not when.known:
        return Offset()
    return Offset(day=(when.first - index.first).days, day_latest=(when.last - index.first).days)


def quarter(when: date | DateRange) -> str:
    """The quarter of a date, "2026Q3"; blank where a range is unknown or lies in more than one."""
    if isinstance(when, date):
        return f"{when.year}Q{(when.month + 2) // 3}"
    if not when.known or quarter(when.first) != quarter(when.last):
        return ""
    return quarter(when.first)


def sequential_periods(quarters: Iterable[str]) -> dict[str, str]:
    """Each quarter from the first to the last, with none left out, to P01, P02 …; this key is kept apart.

    ChoiceError for a label that is not a quarter.
    """
    seen = sorted(set(quarters), key=periods.ordinal)
    if not seen:
        return {}
    return {label: f"P{place:02d}" for place, label in enumerate(periods.span(seen[0], seen[-1]), start=1)}


def plausible(when: DateRange, earliest: date | None = None, latest: date | None = None) -> str:
    """What to ask about a date outside the time that the data can cover; blank if nothing. Changes no date."""
    if when.known and earliest is not None and when.last < earliest:
        return "lies before anything this export can cover"
    if when.known and latest is not None and when.first > latest:
        return "lies after anything this export can cover"
    return ""
