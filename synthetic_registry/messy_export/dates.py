"""A date as somebody typed it, and the day or days from the index drainage that it must become."""

from __future__ import annotations

import calendar
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from messy_export.cells import EITHER, FULL_DATE, SET_ASIDE, UNKNOWN, Formula, Typed
from messy_export.people import BLANKS, Pen, Person, weighted

EPOCH = date(1899, 12, 30)
LONG_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
MONTHS = tuple(name[:3] for name in LONG_MONTHS)

OWN = weighted(own=1)
SAFE = weighted(own=18, serial=1, serial_text=1, with_time=1, other_format=1, month_name=1, formula=1)
USUAL = (*SAFE * 2, *weighted(month_shown=1, zero_day=1, impossible=1, month_first=1, blank=1))
VAGUE = (
    *SAFE,
    *weighted(
        month_shown=3,
        month_text=2,
        zero_day=3,
        month_word=1,
        early=2,
        no_year=1,
        impossible=1,
        error=1,
        no_result=1,
        blank=3,
        pointing=1,
    ),
)


def _real(day: date, form: str = FULL_DATE) -> Typed:
    return Typed(value=day, form=form)


_SURE: dict[str, Callable[[date], Typed]] = {
    "real": _real,
    "real short": lambda day: _real(day, "d-mmm-yy"),
    "slashes": lambda day: Typed(value=f"{day:%d/%m/%y}", mess="date in text, day first"),
    "dots": lambda day: Typed(value=f"{day.day}.{day.month}.{day.year}", mess="date in text, day first"),
    "iso": lambda day: Typed(value=day.isoformat()),
    "serial": lambda day: Typed(value=(day - EPOCH).days, mess="serial number"),
    "serial text": lambda day: Typed(value=str((day - EPOCH).days), mess="serial number"),
    "with time": lambda day: Typed(value=datetime.combine(day, time(14, 30)), form="dd/mm/yyyy hh:mm"),
    "other format": lambda day: _real(day, "yyyy.mm.dd"),
    "month name": lambda day: Typed(value=f"{day.day} {MONTHS[day.month - 1]} {day.year}"),
    "formula": lambda day: Typed(
        value=Formula(text=f"=DATE({day.year},{day.month},{day.day})", result=day),
        form=FULL_DATE,
        mess="formula",
    ),
}
_MONTH: dict[str, Callable[[date], Typed]] = {
    "month shown": lambda day: Typed(value=day.replace(day=1), form="mmm-yy", mess="month only"),
    "month text": lambda day: Typed(value=f"{MONTHS[day.month - 1]}-{day:%y}", mess="month only"),
    "zero day": lambda day: Typed(value=f"00.{day:%m.%Y}", mess="month only"),
    "month word": lambda day: Typed(
        value=f"{LONG_MONTHS[day.month - 1]} {day.year}", reading=EITHER, mess="month only"
    ),
}
_LOST: dict[str, Callable[[date], Typed]] = {
    "impossible": lambda day: Typed(value=f"31/02/{day.year}", mess="no such date"),
    "early": lambda day: Typed(value=f"early {LONG_MONTHS[day.month - 1]}", mess="vague date"),
    "no year": lambda day: Typed(value=f"{day:%d/%m}", mess="vague date"),
    "month first": lambda day: Typed(value=f"{day.month:02}/{max(day.day, 13)}/{day:%y}", mess="month first"),
    "error": lambda day: Typed(value=Formula(text="=NA()", result="#N/A"), mess="formula with an error"),
    "no result": lambda day: Typed(value=Formula(text="=TODAY()", result=None), mess="formula without a result"),
    "ambiguous": lambda day: Typed(value=f"{min(day.day, 12):02}/{day:%m/%y}", mess="order of day and month not said"),
}


def type_date(pen: Pen, person: Person, day: date, index: date, column: str, deck: tuple[str, ...] = USUAL) -> Typed:
    """One date, in a form dealt from the deck; offsets from `index` go to `column` (and `column_latest`)."""
    form = pen.deal(f"date {deck_name(deck)}", deck)
    if form == "blank":
        return Typed(value=pen.deal("blanks", BLANKS), fate=UNKNOWN, mess="blank word")
    if form == "pointing":
        return Typed(
            value=pen.deal("pointing", ("as before", "same", "idem", '"')),
            fate=SET_ASIDE,
            mess="points elsewhere",
        )
    if form in _LOST:
        return replace(_LOST[form](day), fate=SET_ASIDE)
    if form in _MONTH:
        return replace(_MONTH[form](day), fills=month_fills(day, index, column))
    return replace(_SURE[person.date if form == "own" else form](day), fills={column: str((day - index).days)})


def deck_name(deck: tuple[str, ...]) -> str:
    """A name for a deck that is the same on every run."""
    return f"{len(deck)} {'/'.join(sorted(set(deck)))}"


def month_fills(day: date, index: date, column: str) -> dict[str, str]:
    """The first and the last day of the month, counted from the index drainage."""
    first = day.replace(day=1)
    last = first + timedelta(days=calendar.monthrange(day.year, day.month)[1] - 1)
    return {column: str((first - index).days), f"{column}_latest": str((last - index).days)}


def whole_month_between(day: date, earliest: date, latest: date) -> bool:
    """Whether the month of a day lies wholly between two dates."""
    first = day.replace(day=1)
    last = first.replace(day=calendar.monthrange(day.year, day.month)[1])
    return earliest <= first and last <= latest


def without_months(deck: tuple[str, ...]) -> tuple[str, ...]:
    """The same deck, with no date known only to its month."""
    return tuple(form for form in deck if form not in _MONTH)
