"""Dates as written to whole days from the index drainage; nothing that leaves here holds a calendar date.

`read_date` reads a cell to the first and last day it can mean; `quarter` turns that into a label, and
`sequential_periods` hides the quarters behind P01, P02 …

date     = [weekday] ( [part] month-year | day | quarter | week | serial ) [time of day, dropped]
fields   = up to three numbers and at most one name of a month, with what parts them

Office Open XML (ECMA-376 Part 1, 18.17.4; from memory): in the 1900 system 1 is 1900-01-01 and 60 stands for a
29 February 1900 that never was; the 1904 system starts with 0 on 1904-01-01 and runs 1,462 days behind.
"""

from __future__ import annotations

import contextlib
import re
import unicodedata
from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from necrostats.errors import unknown_choice
from necrostats.registry import periods
from necrostats.registry.text import LONGEST, Unread, plain, without_value, written

_NAMES = (
    "january jan januar janner janvier janv enero ene januari gennaio gen genn",
    "february feb februar fevrier fevr fev febrero februari febbraio febb",
    "march mar marz maerz mrz mars marzo maart mrt",
    "april apr avril avr abril abr aprile",
    "may mai mayo mei maggio mag magg",
    "june jun juni juin junio giugno giu",
    "july jul juli juillet juil julio luglio lug",
    "august aug aout agosto ago ag augustus",
    "september sep sept septembre septiembre setiembre settembre set sett",
    "october oct oktober okt octobre octubre ottobre ott",
    "november nov novembre noviembre",
    "december dec dezember dez decembre diciembre dic dicembre",
)
MONTHS = {name: month for month, names in enumerate(_NAMES, start=1) for name in names.split()}
WEEKDAYS = {
    name: day
    for day, names in enumerate(
        (
            "monday mon",
            "tuesday tue tues",
            "wednesday wed",
            "thursday thu thur thurs",
            "friday fri",
            "saturday sat",
            "sunday sun",
        )
    )
    for name in names.split()
}


def month_number(word: str) -> int | None:
    """The month that a word names, accents or not; None if it names none."""
    bare = "".join(letter for letter in unicodedata.normalize("NFD", word) if not unicodedata.combining(letter))
    return MONTHS.get(bare)


YEARS = range(1900, 2100)
NO_ORDER = "may be day first or month first, and the layout does not say which"
NO_SYSTEM = "may be a spreadsheet's serial number, but its date system is not given"
_DAY_0 = "gives the day as 00, and is read as the whole month"
_THIRDS = {"early": (1, 10), "mid": (11, 20), "late": (21, 31)}


@dataclass(frozen=True, kw_only=True)
class DateRange:
    """A date as written, as the first and last day it can be: equal when exact, both None when unknown.

    No date shows in its repr. `problem` says why a cell was set aside, `question` what to ask about one that was
    kept, `note` what else to say of it; all continue the sentence that begins with the cell, and never repeat it.
    """

    first: date | None = field(default=None, repr=False)
    last: date | None = field(default=None, repr=False)
    rule: str
    problem: str = ""
    question: str = ""
    note: str = ""
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
        return replace(month_of(year, month), note=_DAY_0) if month else year_of(year)
    try:
        exact = date(year, month, day)
    except ValueError:
        raise Unread("is not a date") from None
    return DateRange(first=exact, last=exact, rule=rule)


def month_of(year: int, month: int, part: str = "") -> DateRange:
    """A month, or its early (1-10), mid (11-20) or late (21-end) part; Unread if there is no such month."""
    if year not in YEARS or not 1 <= month <= 12:
        raise Unread("is not a month of a year")
    start, end = _THIRDS.get(part, (1, 31))
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


_TIME = re.compile(
    r"(?:(?<=[0-9])t|[ ,;]+(?:at )?)\s*"
    r"(?:(?:[01]?[0-9]|2[0-4])[:h][0-5][0-9](?::[0-5][0-9](?:[.,][0-9]+)?)?(?:\s*[ap]\.?m\.?)?"
    r"|[01]?[0-9]\s*[ap]\.?m\.?)"
    r"\s*(?:z|[+-][0-9]{2}:?[0-9]{2})?$"
)
_QUARTER = re.compile(r"(?:([0-9]{4})[ -]?q([1-4])|q([1-4])[ /-]?([0-9]{4}))")
_WEEK = re.compile(r"([0-9]{4})-?w([0-9]{2})(?:-?([1-7]))?")
_SERIAL = re.compile(r"[0-9]{5}(?:[.,][0-9]+)?")
_FIELD = re.compile(r"[0-9]+|[^\W\d_]+|[^\w]+|_")
_ORDINAL = re.compile(r"(?<=[0-9])(?:st|nd|rd|th|er|e|\u00ba|\u00aa|\u00b0)(?=[\s.,]|$)")
_FILLERS = frozenset(("of", "the", "de", "del", "le", "den"))
_PARTS = {
    "early": "early",
    "beginning": "early",
    "start": "early",
    "mid": "mid",
    "middle": "mid",
    "late": "late",
    "end": "late",
}
_LOW_YEAR = 69


@dataclass(frozen=True, kw_only=True)
class _Fields:
    kinds: str
    values: tuple[int, ...]
    lengths: tuple[int, ...]
    parted: tuple[str, ...]
    weekday: int | None
    part: str


def read_date(
    text: object,
    *,
    day_first: bool | None = None,
    date_system: DateSystem | None = None,
    shown_as: str | None = None,
) -> DateRange:
    """Read one date cell (text, number or datetime) whole, or set it aside; never raises on what it holds.

    `day_first`: the order that the layout gives for dates in numbers; None: "12/03/24" is set aside, and only
    dates with dots count as day first. `date_system`: the workbook's, or the layout's for a csv; without it a
    serial number is set aside. `shown_as`: the number format of a date cell, which says how much of it counts.
    Two-digit years 00-68 are 2000-2068, 69-99 are 1969-1999. ChoiceError for a date system off the list.
    """
    if date_system is not None and date_system not in DATE_SYSTEMS:
        raise unknown_choice("date system", date_system, DATE_SYSTEMS)
    as_written = written(text)
    try:
        found = _read(text, as_written, day_first, date_system, shown_as)
    except Unread as unread:
        found = DateRange(rule="set aside", problem=str(unread))
    return replace(found, as_written=as_written)


def _read(
    value: object, text: str, day_first: bool | None, date_system: DateSystem | None, shown_as: str | None
) -> DateRange:
    if rule := without_value(text):
        return DateRange(rule=rule)
    if isinstance(value, date):
        day = value.date() if isinstance(value, datetime) else value
        return _as_shown(day, shown_as, "date cell")
    if isinstance(value, time | bool):
        raise Unread("is not a date")
    if len(text.strip()) > LONGEST:
        raise Unread("is too long to be a date")
    bare = plain(text)
    if _SERIAL.fullmatch(bare):
        return _serial(bare, date_system, shown_as)
    return _named(bare) or _from_fields(_fields(_ORDINAL.sub("", _TIME.sub("", bare))), day_first)


def _serial(text: str, date_system: DateSystem | None, shown_as: str | None) -> DateRange:
    if date_system is None:
        raise Unread(NO_SYSTEM)
    return _as_shown(from_serial(float(text.replace(",", ".")), date_system), shown_as, "serial number")


def _as_shown(day: date, shown_as: str | None, rule: str) -> DateRange:
    precision = precision_shown(shown_as)
    if precision == "month":
        return month_of(day.year, day.month)
    return year_of(day.year) if precision == "year" else day_of(day.year, day.month, day.day, rule)


def _named(text: str) -> DateRange | None:
    if quarter := _QUARTER.fullmatch(text):
        year, number = quarter[1] or quarter[4], quarter[2] or quarter[3]
        return quarter_of(int(year), int(number))
    if week := _WEEK.fullmatch(text):
        return _week(int(week[1]), int(week[2]), int(week[3] or 0))
    if len(text) == 8 and text.isdecimal():
        return day_of(int(text[:4]), int(text[4:6]), int(text[6:]), "year first")
    return None


def _week(year: int, week: int, day: int) -> DateRange:
    try:
        first, last = (date.fromisocalendar(year, week, each) for each in (day or 1, day or 7))
    except ValueError:
        raise Unread("is not a date") from None
    return DateRange(first=first, last=last, rule="week")


def _fields(text: str) -> _Fields:
    kinds, values, lengths, parted = "", [], [], []
    weekday, part, gap = None, "", ""
    for word in _FIELD.findall(text):
        month = month_number(word)
        if word.isdecimal() or month is not None:
            parted.append(gap)
            kinds += "N" if month is None else "M"
            values.append(int(word[:9]) if month is None else month)
            lengths.append(len(word))
            gap = ""
        elif word in WEEKDAYS and not kinds and weekday is None:
            weekday = WEEKDAYS[word]
        elif word in _PARTS and not (kinds or part):
            part = _PARTS[word]
        elif word in _FILLERS:
            gap += " "
        elif set(word) <= set(" ,.-/'"):
            gap += word
        else:
            raise Unread("is not a date")
    if gap.strip(" .,"):
        raise Unread("is not a date")
    return _Fields(
        kinds=kinds,
        values=tuple(values),
        lengths=tuple(lengths),
        weekday=weekday,
        part=part,
        parted=tuple("".join(sorted(set(each.replace(" ", "")))) or each[:1] for each in parted[1:]),
    )


def _from_fields(fields: _Fields, day_first: bool | None) -> DateRange:
    readers = {
        "NNN": _numbers,
        "NMN": _day_month_year,
        "MNN": _month_day_year,
        "NM": _year_month,
        "MN": _month_year,
        "NN": _two_numbers,
        "N": _one_number,
        "M": _no_year,
    }
    if fields.kinds not in readers:
        raise Unread("is not a date")
    found = _numbers(fields, day_first) if fields.kinds == "NNN" else readers[fields.kinds](fields)
    if fields.part:
        found = _part_of(found, fields.part)
    if fields.weekday is not None and not (found.exact and found.first.weekday() == fields.weekday):
        raise Unread("names a weekday that is not the date's")
    return found


def _part_of(found: DateRange, part: str) -> DateRange:
    if found.rule != "month":
        raise Unread("is not a date")
    return month_of(found.first.year, found.first.month, part)


def _numbers(fields: _Fields, day_first: bool | None) -> DateRange:
    first, second, third = fields.values
    if len(set(fields.parted)) > 1 or fields.parted[0] not in ("/", "-", ".", " ") or fields.lengths[1] > 2:
        raise Unread("is not a date")
    if fields.lengths[0] == 4 and fields.lengths[2] <= 2:
        return day_of(first, second, third, "year first")
    if fields.lengths[0] > 2:
        raise Unread("is not a date")
    if day_first is None and fields.parted[0] != ".":
        _some_order(first, second, _year(third, fields.lengths[2]))
        raise Unread(NO_ORDER)
    day, month, rule = (second, first, "month first") if day_first is False else (first, second, "day first")
    if month > 12 >= day:
        raise Unread(f"is not a date with the {rule.replace(' first', '')} first")
    return day_of(_year(third, fields.lengths[2]), month, day, rule)


def _some_order(first: int, second: int, year: int) -> None:
    for day, month in ((first, second), (second, first)):
        with contextlib.suppress(Unread):
            day_of(year, month, day, "")
            return
    raise Unread("is not a date")


def _day_month_year(fields: _Fields) -> DateRange:
    first, month, third = fields.values
    if fields.lengths[0] == 4 and fields.lengths[2] <= 2:
        return day_of(first, month, third, "year first")
    if fields.lengths[0] > 2:
        raise Unread("is not a date")
    return day_of(_year(third, fields.lengths[2]), month, first, "month by name")


def _month_day_year(fields: _Fields) -> DateRange:
    month, day, year = fields.values
    if fields.lengths[1] > 2:
        raise Unread("is not a date")
    return day_of(_year(year, fields.lengths[2]), month, day, "month by name")


def _year_month(fields: _Fields) -> DateRange:
    year, month = fields.values
    if fields.lengths[0] != 4:
        raise Unread("gives no year")
    return month_of(year, month)


def _month_year(fields: _Fields) -> DateRange:
    month, year = fields.values
    if fields.lengths[1] == 2 and not set(fields.parted[0]) & set("-'/"):
        raise Unread("may give a day or a year")
    return month_of(_year(year, fields.lengths[1]), month)


def _two_numbers(fields: _Fields) -> DateRange:
    (first, second), (long, short) = fields.values, fields.lengths
    if fields.parted[0] not in ("/", "-", "."):
        raise Unread("is not a date")
    if long == 4 and short <= 2:
        return month_of(first, second)
    if short == 4 and long <= 2:
        return month_of(second, first)
    raise Unread("gives no year")


def _one_number(fields: _Fields) -> DateRange:
    if fields.lengths[0] != 4:
        raise Unread("is not a date")
    return year_of(fields.values[0])


def _no_year(fields: _Fields) -> DateRange:
    raise Unread("gives no year")


def _year(written_year: int, digits: int) -> int:
    if digits == 4:
        return written_year
    if digits != 2:
        raise Unread("is not a date")
    return written_year + (1900 if written_year >= _LOW_YEAR else 2000)
