"""A size as written, "12x10x8", to axes in mm, longest first."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal

from necrostats.registry.quantities import vocabulary as words
from necrostats.registry.quantities.grammar import Reader
from necrostats.registry.quantities.numbers import unit_named
from necrostats.registry.quantities.tokens import DecimalSign, has_loose_group, tokens_of
from necrostats.registry.quantities.vocabulary import Unit
from necrostats.registry.text import Unread, is_number, without_value, written

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
