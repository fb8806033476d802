"""Cells that should hold one number, a count or minutes, and sizes of one to three axes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from necrostats.errors import unknown_choice
from necrostats.registry.quantities import vocabulary as words
from necrostats.registry.quantities.grammar import Amount, Reader
from necrostats.registry.quantities.vocabulary import DecimalSign, Phrase, Unit, has_loose_group, tokens_of
from necrostats.registry.text import Unread, is_number, without_value, written

_COUNTED = frozenset(
    (noun,)
    for noun in (
        "pass",
        "passes",
        "times",
        "x",
        "session",
        "sessions",
        "points",
        "night",
        "nights",
        "years",
        "yrs",
        "y",
        "yo",
    )
)
_HOUR = frozenset((("h",), ("hr",), ("hrs",), ("hour",), ("hours",)))
_MINUTE = frozenset((("min",), ("mins",), ("minute",), ("minutes",), ("'",), ("m",)))


@dataclass(frozen=True, kw_only=True)
class Number:
    """One number in the unit asked for; `value` None is unknown, or set aside if there is a `problem`."""

    value: float | None = None
    approximate: bool = False
    rule: str
    problem: str = ""
    question: str = ""
    as_written: str = field(default="", repr=False)


def read_number(
    text: object, *, unit: str = "", default_unit: str | None = None, decimal: DecimalSign | None = None
) -> Number:
    """One number in `unit`: "ml", "g", "percent", "mm", "min", "Fr", "bore" (mm, also given in Fr), or "" for a plain
    number.

    A number without a unit is in `default_unit`, or in `unit` where that is blank; a written unit of the same
    kind is converted, one of another kind sets the cell aside. Never raises on what a cell holds; ChoiceError
    for a unit that is not on the list.
    """
    units = _unit_set(unit)
    default = unit_named(units, default_unit)
    sign = "." if is_number(text) else decimal
    return _guarded(text, lambda plain: _one(plain, units, default, sign))


def read_count(text: object) -> Number:
    """A whole number of things, with or without the word for them: "3", "3 passes", "x3"."""

    def count(plain: str) -> Number:
        found = _one(_without_noun(plain), words.NO_UNIT, None, "." if is_number(text) else None)
        if found.value is not None and found.value != int(found.value):
            raise Unread("is not a whole number")
        return found

    return _guarded(text, count)


def read_minutes(text: object, *, default_unit: str = "min", decimal: DecimalSign | None = None) -> Number:
    """A length of time in minutes: "45", "45 min", "90'", "1h 10", "1:10 h", "1:10:00", "1.5 h".

    "1:10" alone may be hours and minutes or minutes and seconds, and is set aside.
    """
    default = unit_named(words.TIME, default_unit)
    sign = "." if is_number(text) else decimal
    return _guarded(text, lambda plain: _clock(plain) or _one(plain, words.TIME, default, sign))


def _unit_set(unit: str) -> Mapping[Phrase, Unit]:
    if unit not in words.UNIT_SETS:
        raise unknown_choice("unit", unit, [name for name in words.UNIT_SETS if name])
    return words.UNIT_SETS[unit]


def unit_named(units: Mapping[Phrase, Unit], name: str | None) -> Unit | None:
    """The unit of that name; the base unit of the set for a blank name; ChoiceError for any other."""
    if not name:
        return next((unit for unit in units.values() if unit.factor == 1), None)
    if (found := units.get(tuple(name.casefold().split()))) is None:
        raise unknown_choice("unit", name, [" ".join(phrase) for phrase in units])
    return found


def _guarded(text: object, read: Callable[[str], Number]) -> Number:
    as_written = written(text)
    try:
        rule = without_value(as_written)
        found = Number(rule=rule) if rule else read(as_written)
    except Unread as unread:
        found = Number(rule="set aside", problem=str(unread))
    return replace(found, as_written=as_written)


def _one(text: str, units: Mapping[Phrase, Unit], default: Unit | None, decimal: DecimalSign | None) -> Number:
    reader = Reader(tokens_of(text), units=units, decimal=decimal, default=default)
    amount = reader.amount()
    reader.skip_signs(".")
    if amount is None and reader.peek().text == "-":
        raise Unread("is negative")
    if amount is None or not reader.at_end:
        reader.refuse_arithmetic()
        raise Unread("is not one number")
    return _single(amount)


def _single(amount: Amount) -> Number:
    if not amount.exact:
        raise Unread("is a range or an open end where one number belongs")
    question = "is read with its thousands parted by a space" if amount.loose else ""
    return Number(value=float(amount.low), approximate=amount.approximate, rule="number", question=question)


def _without_noun(text: str) -> str:
    tokens = tokens_of(text)
    kept = [token.text for token in tokens if (token.text,) not in _COUNTED]
    if len(tokens) - len(kept) > 1:
        raise Unread("is not one number")
    between = any((token.text,) in _COUNTED for token in tokens[1:-1])
    if between:
        raise Unread("is not one number")
    return " ".join(kept)


def _clock(text: str) -> Number | None:
    reader = Reader(tokens_of(text), units=words.NO_UNIT)
    fields = [_whole(reader)]
    while reader.peek().text == ":":
        reader.skip_signs(":")
        fields.append(_whole(reader))
    hours = reader.skip(_HOUR)
    if len(fields) == 1 and hours and reader.peek().kind == "number":
        fields.append(_whole(reader))
        reader.skip(_MINUTE)
    elif len(fields) == 1:
        return None
    if not reader.at_end or None in fields:
        raise Unread("is not a length of time")
    return _minutes(fields, hours)


def _minutes(fields: list[int], hours: bool) -> Number:
    if len(fields) > 3 or any(part > 59 for part in fields[1:]):
        raise Unread("is not a length of time")
    if len(fields) == 2 and not hours:
        raise Unread("may be hours and minutes or minutes and seconds")
    parts = [*fields, 0][:3]
    value = Decimal(parts[0] * 60 + parts[1]) + Decimal(parts[2]) / 60
    return Number(value=float(value), rule="hours and minutes")


def _whole(reader: Reader) -> int | None:
    token = reader.peek()
    if token.kind != "number" or not token.text.isdigit() or len(token.text) > 4:
        return None
    reader.advance()
    return int(token.text)


_TIMES = frozenset((("x",), ("by",)))


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Up to three axes in mm, longest first; what was not written is None. A volume is never worked out."""

    long_mm: float | None = None
    mid_mm: float | None = None
    short_mm: float | None = None
    approximate: bool = False
    unit_written: bool = False
    rule: str
    problem: str = ""
    question: str = ""
    as_written: str = field(default="", repr=False)


def read_axes(text: object, default_unit: str | None = None, *, decimal: DecimalSign | None = None) -> Axes:
    """One to three axes: "12x10x8", "120 × 100 × 80 mm", "12 cm x 10 cm x 8 cm".

    A unit after the last axis counts for all; without one, `default_unit` ("mm" or "cm") counts, and where that
    is blank too no axis is filled and the cell is asked about. Two axes fill the long and the middle one, one
    the long one. Never raises on what a cell holds; ChoiceError for a unit that is not a length.
    """
    default = unit_named(words.LENGTH, default_unit) if default_unit else None
    sign = "." if is_number(text) else decimal
    as_written = written(text)
    try:
        rule = without_value(as_written)
        found = Axes(rule=rule) if rule else _read(as_written, default, sign)
    except Unread as unread:
        found = Axes(rule="set aside", problem=str(unread))
    return replace(found, as_written=as_written)


def _read(text: str, default: Unit | None, decimal: DecimalSign | None) -> Axes:
    reader = Reader(tokens_of(text), units=words.LENGTH, decimal=decimal)
    approximate = reader.about()
    sizes, units = [], []
    while not sizes or reader.skip(_TIMES):
        if has_loose_group(reader.peek()):
            raise Unread("is not one to three axes")
        sizes.append(reader.number())
        units.append(reader.take(words.LENGTH))
    reader.skip_signs(".")
    if not reader.at_end or len(sizes) > 3:
        raise Unread("is not one to three axes")
    return _in_mm(sizes, _one_each(units, default), approximate, units[-1] is not None)


def _one_each(units: list[Unit | None], default: Unit | None) -> list[Unit | None]:
    *first, last = units
    if not any(first):
        return [last or default] * len(units)
    if not all(units):
        raise Unread("gives a unit for some axes and not for others")
    return units


def _in_mm(sizes: list[Decimal], units: list[Unit | None], approximate: bool, unit_written: bool) -> Axes:
    if None in units:
        return Axes(rule="axes", question="gives no unit, and neither does the layout")
    axes = sorted((float(size * unit.factor) for size, unit in zip(sizes, units, strict=True)), reverse=True)
    long, mid, short = [*axes, None, None][:3]
    return Axes(
        long_mm=long,
        mid_mm=mid,
        short_mm=short,
        approximate=approximate,
        unit_written=unit_written,
        rule="axes",
    )
