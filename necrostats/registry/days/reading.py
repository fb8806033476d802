"""A date cell as written to the first and last day it can mean. An order of day and month is never guessed.

date     = [weekday] ( [part] month-year | day | quarter | week | serial ) [time of day, dropped]
fields   = up to three numbers and at most one name of a month, with what parts them
"""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass, replace
from datetime import date, datetime, time

from necrostats.errors import unknown_choice
from necrostats.registry.days.months import WEEKDAYS, month_number
from necrostats.registry.days.ranges import DateRange, day_of, month_of, quarter_of, year_of
from necrostats.registry.days.serials import DATE_SYSTEMS, DateSystem, from_serial, precision_shown
from necrostats.registry.quantities import cells
from necrostats.registry.quantities.cells import LONGEST, Unread, plain, written

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
    if rule := cells.without_value(text):
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
        raise Unread("may be a spreadsheet's serial number, but its date system is not given")
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
    for field in _FIELD.findall(text):
        month = month_number(field)
        if field.isdecimal() or month is not None:
            parted.append(gap)
            kinds += "N" if month is None else "M"
            values.append(int(field[:9]) if month is None else month)
            lengths.append(len(field))
            gap = ""
        elif field in WEEKDAYS and not kinds and weekday is None:
            weekday = WEEKDAYS[field]
        elif field in _PARTS and not (kinds or part):
            part = _PARTS[field]
        elif field in _FILLERS:
            gap += " "
        elif set(field) <= set(" ,.-/'"):
            gap += field
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
        raise Unread("may be day first or month first, and the layout does not say which")
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
