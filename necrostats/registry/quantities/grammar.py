"""Recursive descent over the tokens of a cell: one amount with its sign, range and unit.

amount   = about* ( between | bounded ) after*
bounded  = [bound] about* end [ to about* end ]
between  = ("between" | "from") end ("and" | to) end
end      = number [unit]
after    = "approx" | "or more" | "or less" | "+"
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import TypeVar

from necrostats.registry.quantities import vocabulary as words
from necrostats.registry.quantities.vocabulary import DecimalSign, Phrase, Token, Unit, has_loose_group, numeral
from necrostats.registry.text import Unread

T = TypeVar("T")

_LONGEST_PHRASE = 5
_NOT_AN_AMOUNT = {
    "+": "is a sum",
    "x": "is a product",
    "by": "is a product",
    "/": "is a fraction or two numbers",
    "\u2044": "is a fraction",
    "^": "is a power",
    "\u00b1": "gives a spread, not an amount",
    "+/-": "gives a spread, not an amount",
    "=": "is a sum",
    ":": "is a ratio or a time",
}
_TO_ALONE = frozenset(("bis", "to", "tot", "até", "ate"))
_FRACTIONS = frozenset("¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞⅟↉")


@dataclass(frozen=True, kw_only=True)
class Amount:
    """An amount in its base unit (blank: no unit, in the cell or by default); None is an open end."""

    low: Decimal | None
    high: Decimal | None
    unit: str
    unit_written: bool
    approximate: bool
    form: str
    loose: bool

    @property
    def exact(self) -> bool:
        """Whether it is one number, not a range and not open."""
        return self.form == "number"


@dataclass(frozen=True, kw_only=True)
class _End:
    value: Decimal
    unit: Unit | None
    loose: bool


class Reader:
    """A place in the tokens, with what the layout says about units and the decimal sign."""

    def __init__(
        self,
        tokens: tuple[Token, ...],
        *,
        units: Mapping[Phrase, Unit],
        decimal: DecimalSign | None = None,
        default: Unit | None = None,
    ) -> None:
        self._tokens = tokens
        self._texts = tuple(token.text for token in tokens)
        self._place = 0
        self._units = units
        self._decimal = decimal
        self._default = default

    @property
    def at_end(self) -> bool:
        """Whether every token is read."""
        return self._place >= len(self._tokens)

    def peek(self, ahead: int = 0) -> Token:
        """The token at this place, or an empty one after the last."""
        place = self._place + ahead
        return self._tokens[place] if place < len(self._tokens) else Token(kind="end", text="")

    def take(self, phrases: Mapping[Phrase, T]) -> T | None:
        """What the longest phrase that starts here stands for, read past; None if none does."""
        phrase = self.phrase(phrases)
        if phrase is None:
            return None
        self.advance(len(phrase))
        return phrases[phrase]

    def phrase(self, phrases: Collection[Phrase], ahead: int = 0) -> Phrase | None:
        """The longest of the phrases that starts here, without reading past it."""
        start = self._place + ahead
        for length in range(min(_LONGEST_PHRASE, len(self._texts) - start), 0, -1):
            run = self._texts[start : start + length]
            if run in phrases:
                return run
        return None

    def skip(self, phrases: Collection[Phrase]) -> bool:
        """Read past the longest of the phrases that starts here; whether there was one."""
        phrase = self.phrase(phrases)
        self.advance(len(phrase) if phrase else 0)
        return phrase is not None

    def skip_signs(self, signs: Collection[str]) -> bool:
        """Read past any of these signs; whether there was one."""
        start = self._place
        while self.peek().kind == "sign" and self.peek().text in signs:
            self._place += 1
        return self._place > start

    def number(self) -> Decimal:
        """The number at this place; Unread if there is none."""
        token = self.peek()
        if token.kind != "number":
            raise Unread(self._why_no_number(token))
        self._place += 1
        return numeral(token.text, self._decimal)

    def amount(self) -> Amount | None:
        """The amount that starts here; None if none does, Unread if one breaks off."""
        start = self._place
        approximate = self.about()
        if self._between_follows():
            self.skip(words.BETWEEN)
            read = self._range(self._end(), between=True, about=approximate)
        else:
            read = self._bounded(approximate)
        if read is None:
            self._place = start
        return read

    def refuse_arithmetic(self) -> None:
        """Unread if a sum, product, fraction, power or second unit follows what was just read."""
        token = self.peek()
        if token.text == "e" and token.glued:
            raise Unread("uses exponent notation")
        if token.text in _FRACTIONS:
            raise Unread("is written as a fraction")
        if token.text in _NOT_AN_AMOUNT and self.peek(1).kind == "number":
            raise Unread(_NOT_AN_AMOUNT[token.text])

    def _bounded(self, about: bool) -> Amount | None:
        bound = self._bound()
        about = self.about() or about
        if self.peek().kind != "number":
            if bound or about:
                raise Unread(self._why_no_number(self.peek()))
            return None
        end = self._end()
        if self._range_follows():
            if bound:
                raise Unread("has both a limit and a range")
            return self._range(end, between=False, about=about)
        after, end = self._after(end)
        if bound and after in ("above", "below"):
            raise Unread("has two limits")
        return self._open(end, bound or after, about or after == "about" or self._about_after())

    def _range(self, first: _End, *, between: bool, about: bool) -> Amount:
        joined = self.skip(words.AND) if between else False
        if not (joined or self.skip(words.TO)):
            raise Unread("has no second end")
        about = self.about() or about
        second = self._end()
        about = self._about_after() or about
        self.refuse_arithmetic()
        if self._range_follows():
            raise Unread("has more than two ends")
        low, high, unit, written = self._both(first, second)
        if low > high:
            raise Unread("runs from high to low")
        form = "number" if low == high else "range"
        return Amount(
            low=low,
            high=high,
            unit=unit,
            unit_written=written,
            approximate=about,
            form=form,
            loose=first.loose or second.loose,
        )

    def _both(self, first: _End, second: _End) -> tuple[Decimal, Decimal, str, bool]:
        low, high = first.unit, second.unit
        if low is not None and high is None:
            if low.factor != 1:
                raise Unread("gives its second end no unit")
            high = low
        low, high = low or high or self._default, high or self._default
        if low is not None and high is not None and low.base != high.base:
            raise Unread("mixes two kinds of unit")
        written = first.unit is not None or second.unit is not None
        return _scaled(first.value, low), _scaled(second.value, high), high.base if high else "", written

    def _open(self, end: _End, bound: str | None, about: bool) -> Amount:
        unit = end.unit or self._default
        value = _scaled(end.value, unit)
        if bound in ("above", "below") and value == 0:
            raise Unread("sets a limit of 0, which says nothing")
        open_low, open_high = bound == "below", bound == "above"
        return Amount(
            low=Decimal(0) if open_low else value,
            high=None if open_high else value,
            unit=unit.base if unit else "",
            unit_written=end.unit is not None,
            approximate=about,
            loose=end.loose,
            form="up to" if open_low else "at least" if open_high else "number",
        )

    def _end(self) -> _End:
        loose = has_loose_group(self.peek())
        value = self.number()
        self.refuse_arithmetic()
        unit = self.take(self._units)
        if unit is not None:
            self.refuse_arithmetic()
        return _End(value=value, unit=unit, loose=loose)

    def _between_follows(self) -> bool:
        """Whether a word such as "between" opens a range; "de" and "von" also stand before what was removed."""
        phrase = self.phrase(words.BETWEEN)
        return phrase is not None and self.peek(len(phrase)).kind == "number"

    def _range_follows(self) -> bool:
        joint = self.phrase(words.TO)
        if joint is None:
            return False
        return self.peek(1).kind == "number" or any(
            self.phrase(phrases, ahead=1) for phrases in (words.ABOUT, words.ABOVE, words.BELOW)
        )

    def _bound(self) -> str | None:
        if self.skip(words.ABOVE):
            found = "above"
        elif self.skip(words.BELOW) or self._up_to():
            found = "below"
        else:
            return None
        self.skip_signs(".")
        return found

    def _up_to(self) -> bool:
        """Read past a word for "to" before a single number: "bis 50 ml" is a limit, "20 bis 50 ml" a range."""
        alone = self.peek().text in _TO_ALONE and self.peek(1).kind == "number"
        self.advance(int(alone))
        return alone

    def about(self) -> bool:
        """Read past any signs and words for "about"; whether there were any."""
        found = False
        while not self._is_code() and self.skip(words.ABOUT):
            self.skip_signs(".")
            found = True
        return found

    def _is_code(self) -> bool:
        return self.peek().text == "c" and self.peek(1).kind == "number" and self.peek(1).glued

    def _about_after(self) -> bool:
        found = self.skip(words.ABOUT_AFTER)
        if found:
            self.skip_signs(".")
        return found

    def _after(self, end: _End) -> tuple[str | None, _End]:
        if self._about_after():
            return "about", end
        if self.peek().text == "+" and self.peek(1).text != "+":
            self.advance(1)
            unit = self.take(self._units) if end.unit is None else None
            if self.peek().kind == "number":
                raise Unread("is a sum")
            return "above", _End(value=end.value, unit=end.unit or unit, loose=end.loose)
        if self.skip(words.MORE_AFTER):
            return "above", end
        return ("below" if self.skip(words.LESS_AFTER) else None), end

    def advance(self, steps: int = 1) -> None:
        """Read past so many tokens."""
        self._place += steps

    def _why_no_number(self, token: Token) -> str:
        if token.text in _FRACTIONS:
            return "is written as a fraction"
        if token.text == "-":
            return "is negative"
        return "is not an amount that can be read whole"


def _scaled(value: Decimal, unit: Unit | None) -> Decimal:
    return value * unit.factor if unit is not None else value
