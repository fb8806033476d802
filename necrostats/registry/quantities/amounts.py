"""A yield as written in one cell: a number, a range, an open end, a word, out and in, or nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal, localcontext

from necrostats.errors import unknown_choice
from necrostats.registry.quantities import vocabulary as words
from necrostats.registry.quantities.grammar import Amount, Reader
from necrostats.registry.quantities.vocabulary import DecimalSign, Unit, tokens_of
from necrostats.registry.text import Unread, folded, is_number, plain, without_value, written

NO_UNIT_GIVEN = "gives no unit, and neither does the layout"
_LOOSE = "is read with its thousands parted by a space"
_SHOWN = {"ml": " ml", "g": " g", "percent_cleared": " %", "": ""}
_SEPARATORS = frozenset(",;():.")
_CEILING = Decimal(10_000_000)
_PAIRS = (
    ("amount", "out", "amount", "in"),
    ("out", "amount", "in", "amount"),
    ("amount", "in", "amount", "out"),
    ("in", "amount", "out", "amount"),
)


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """A yield as the codebook holds it. `low` and `high` are equal when exact; a blank `high` is "more than",
    a `low` of 0 "less than"; both blank is unknown. `unit` is ml, g, percent_cleared, or blank: neither the
    cell nor the layout says.

    `problem` says why a cell was set aside (then nothing else is filled); `question` what to ask about a cell
    that was kept. Both continue the sentence that begins with the cell, and never repeat what is in it.
    """

    low: float | None = None
    high: float | None = None
    unit: str = ""
    unit_written: bool = False
    approximate: bool = False
    words: str = ""
    lavage_ml: float | None = None
    includes_lavage: bool | None = None
    rule: str
    problem: str = ""
    question: str = ""
    as_written: str = field(default="", repr=False)

    @property
    def numeric(self) -> bool:
        """Whether there is a number of the yield."""
        return self.low is not None

    @property
    def plain(self) -> str:
        """The quantity in one plain form, which reads back as the same quantity; blank if there is none."""
        if not self.numeric:
            return self.words
        if self.lavage_ml is not None:
            out = Decimal(repr(self.low)) + Decimal(repr(self.lavage_ml))
            return f"{'about ' * self.approximate}{_decimal(out)} ml out ({_shown(self.lavage_ml)} ml in)"
        told = {None: "", True: ", including lavage", False: ", excluding lavage"}[self.includes_lavage]
        return f"{'about ' * self.approximate}{self._span()}{_SHOWN[self.unit]}{told}"

    def _span(self) -> str:
        if self.high is None:
            return f"at least {_shown(self.low)}"
        if self.low == self.high:
            return _shown(self.low)
        return f"up to {_shown(self.high)}" if self.low == 0 else f"{_shown(self.low)} to {_shown(self.high)}"


def read_quantity(
    text: object,
    *,
    default_unit: str | None = None,
    decimal: DecimalSign | None = None,
    ml_only: bool = False,
    words: Mapping[str, str] | None = None,
) -> Quantity:
    """Read one cell whole, or set it aside with the reason; never raises on what a cell holds.

    `default_unit` is the unit of a number without one (any spelling of a unit; blank: such a number is kept
    without a unit and asked about). `decimal` is the decimal sign of the column. `ml_only`: the column holds
    nothing but volumes, in ml where no unit is written; another kind of unit sets the cell aside. `words` adds
    synonyms, phrase to one of none, trace, small, moderate, large. ChoiceError for a unit or size off the list.
    """
    known = _size_words(words)
    default = _default_unit("ml" if ml_only else default_unit)
    sign = "." if is_number(text) else decimal
    as_written = written(text)
    try:
        found = _whole_cell(as_written, known) or _read(as_written, known, default, sign, ml_only)
    except Unread as unread:
        found = Quantity(rule="set aside", problem=str(unread))
    return replace(found, as_written=as_written)


def _size_words(extra: Mapping[str, str] | None) -> Mapping[words.Phrase, str]:
    return words.size_words(tuple(sorted((extra or {}).items())))


def _default_unit(name: str | None) -> Unit | None:
    if not name:
        return None
    unit = words.YIELD_UNITS.get(tuple(name.casefold().split()))
    if unit is None:
        raise unknown_choice("unit of a yield", name, ("ml", "l", "g", "kg", "percent_cleared"))
    return unit


def _whole_cell(text: str, known: Mapping[words.Phrase, str]) -> Quantity | None:
    if size := known.get(tuple(plain(text).split())) or known.get(tuple(folded(text).split())):
        return Quantity(rule="word", words=size)
    rule = without_value(text)
    return Quantity(rule=rule) if rule else None


@dataclass(kw_only=True)
class _Parts:
    order: list[str] = field(default_factory=list)
    amounts: list[Amount] = field(default_factory=list)
    sizes: set[str] = field(default_factory=set)
    lavage: set[bool] = field(default_factory=set)
    remarks: set[words.Phrase] = field(default_factory=set)
    slashed: bool = False


def _read(
    text: str,
    known: Mapping[words.Phrase, str],
    default: Unit | None,
    decimal: DecimalSign | None,
    ml_only: bool,
) -> Quantity:
    reader = Reader(tokens_of(text), units=words.YIELD_UNITS, decimal=decimal, default=default)
    parts = _Parts()
    while not reader.at_end:
        if not _separated(reader, parts):
            _part(reader, parts, known)
    with localcontext(prec=60):
        found = _judged(parts)
    if ml_only and found.unit not in ("", "ml"):
        raise Unread("has a unit other than ml in a column that holds ml only")
    return found


def _separated(reader: Reader, parts: _Parts) -> bool:
    beside_flow = reader.peek(1).kind == "word" or parts.order[-1:] in (["in"], ["out"])
    if reader.peek().text == "/" and beside_flow:
        parts.slashed = True
        return reader.skip_signs("/")
    if reader.peek().text == "-" and reader.peek(1).kind == "word" and parts.order:
        return reader.skip_signs("-")
    return reader.skip_signs(_SEPARATORS)


def _part(reader: Reader, parts: _Parts, known: Mapping[words.Phrase, str]) -> None:
    lavage, remark = reader.phrase(words.LAVAGE), reader.phrase(words.REMARKS)
    flow, size = reader.phrase(words.FLOWS), reader.phrase(known)
    longest = max((phrase for phrase in (lavage, remark, flow, size) if phrase), key=len, default=())
    if (not longest or reader.phrase(words.ABOUT)) and (amount := reader.amount()) is not None:
        parts.amounts.append(amount)
        parts.order.append("amount")
        return
    if longest and longest == lavage:
        parts.lavage.add(reader.take(words.LAVAGE))
    elif longest and longest == flow:
        parts.order.append(reader.take(words.FLOWS))
    elif longest and longest == size:
        parts.sizes.add(reader.take(known))
    elif longest:
        parts.remarks.add(longest)
        reader.skip(words.REMARKS)
    elif not _joined(reader):
        _refuse(reader)


def _joined(reader: Reader) -> bool:
    return reader.phrase(words.MATERIAL, ahead=1) is not None and reader.skip(words.JOINS)


def _refuse(reader: Reader) -> None:
    reader.refuse_arithmetic()
    if reader.peek().text == "-" and reader.peek(1).kind == "number":
        raise Unread("is negative")
    raise Unread("is not an amount that can be read whole")


def _judged(parts: _Parts) -> Quantity:
    if len(parts.lavage) > 1 or len(parts.sizes) > 1:
        raise Unread("says two things at once")
    if tuple(parts.order) in _PAIRS:
        return _out_and_in(parts)
    if parts.slashed or len(parts.amounts) > 1:
        raise Unread("holds more than one amount")
    if not parts.amounts:
        return _word(parts)
    if "in" in parts.order or parts.order.count("out") > 1:
        raise Unread("does not say what came out")
    return _one(parts)


def _word(parts: _Parts) -> Quantity:
    if not parts.sizes or parts.order or parts.lavage:
        raise Unread("is not an amount that can be read whole")
    return Quantity(rule="word", words=next(iter(parts.sizes)))


def _one(parts: _Parts) -> Quantity:
    amount = parts.amounts[0]
    if "none" in parts.sizes:
        raise Unread("says two things at once")
    if amount.unit == "percent_cleared":
        _only_cleared(parts, amount)
    if max(amount.low or 0, amount.high or 0) >= _CEILING:
        raise Unread("has more digits than an amount can have")
    questions = [_LOOSE] * amount.loose + [NO_UNIT_GIVEN] * (not amount.unit)
    questions += ["holds a word for an amount beside the number, which is kept alone"] * bool(parts.sizes)
    return Quantity(
        low=_float(amount.low),
        high=_float(amount.high),
        unit=amount.unit,
        unit_written=amount.unit_written,
        approximate=amount.approximate,
        includes_lavage=next(iter(parts.lavage), None),
        rule=amount.form,
        question="; ".join(questions),
    )


def _only_cleared(parts: _Parts, amount: Amount) -> None:
    if parts.remarks - words.CLEARED or parts.lavage or parts.order != ["amount"] or parts.sizes:
        raise Unread("is a percentage of something other than what was cleared")
    if max(amount.low or 0, amount.high or 0) > 100:
        raise Unread("is more than 100 %")


def _out_and_in(parts: _Parts) -> Quantity:
    outward = "out" in parts.order[:2]
    out, into = parts.amounts if outward else reversed(parts.amounts)
    if parts.lavage or parts.sizes or not (out.exact and into.exact):
        raise Unread("gives what went in or came out as more than one plain number")
    if out.unit != "ml" or into.unit != "ml":
        raise Unread("gives what went in or came out in something other than a volume")
    if max(out.low, into.low) >= _CEILING:
        raise Unread("has more digits than an amount can have")
    loose = [_LOOSE] * (out.loose or into.loose)
    if out.low <= into.low:
        doubt = "has no more coming out than went in, so the yield is left unknown"
        return Quantity(rule="out and in", lavage_ml=float(into.low), question="; ".join([doubt, *loose]))
    net = float(out.low - into.low)
    return Quantity(
        low=net,
        high=net,
        unit="ml",
        unit_written=out.unit_written,
        lavage_ml=float(into.low),
        includes_lavage=False,
        approximate=out.approximate or into.approximate,
        rule="out and in",
        question="; ".join(loose),
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def _shown(value: float) -> str:
    return _decimal(Decimal(repr(value)))


def _decimal(value: Decimal) -> str:
    whole, _, decimals = f"{value:f}".partition(".")
    decimals = decimals.rstrip("0")
    padded = decimals + "0" if len(decimals) == 3 else decimals
    return f"{whole}.{padded}" if padded else whole
