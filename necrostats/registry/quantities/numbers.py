"""A cell that should hold one number: a count, a length, minutes. A range or open end is not one number."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

from necrostats.errors import unknown_choice
from necrostats.registry.quantities import vocabulary as words
from necrostats.registry.quantities.grammar import Amount, Reader
from necrostats.registry.quantities.tokens import DecimalSign, tokens_of
from necrostats.registry.quantities.vocabulary import Phrase, Unit
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
