"""The words an amount can hold, units, bounds and remarks; and a text cut into its tokens, a number to its value."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from itertools import product
from types import MappingProxyType
from typing import Literal

from necrostats.errors import unknown_choice
from necrostats.registry.text import LANGUAGES, LONGEST, Unread, codes_in, listed, plain

DecimalSign = Literal[".", ","]
_LONGEST_WHOLE = 7
_LONGEST_DECIMALS = 30

_TOKEN = re.compile(
    r"""
    (?P<number> [0-9]{1,3}(?:\u2009[0-9]{3})+(?![0-9])(?:[.,][0-9]+)?      # 12 000, thin space
              | [0-9][ ][0-9]{3}(?![0-9])(?:[.,][0-9]+)?                   # 1 200, any space
              | [0-9]{1,3}(?:['\u066c][0-9]{3})+(?![0-9])(?:[.,\u066b][0-9]+)?
              | [0-9]+(?:[.,\u066b][0-9]+)*
              | (?<![\w.,])[.,][0-9]+ )
  | (?P<word>   cm\^?[3\u00b3](?![0-9]) | [^\W\d_]+ )
  | (?P<sign>   \.{2,3} | >= | <= | \+/- | [^\w\s] | _ | \w )
  | \s+
    """,
    re.VERBOSE,
)
_GROUP_MARK = re.compile("[' \u2009\u066c]")
_DECIMAL_MARK = re.compile("[.,\u066b]")


@dataclass(frozen=True, kw_only=True)
class Token:
    """One number, word or sign; `glued` when nothing parts it from the token before."""

    kind: str
    text: str
    glued: bool = False


def tokens_of(text: str) -> tuple[Token, ...]:
    """The tokens of a cell; Unread if it is longer than any amount."""
    if len(text.strip()) > LONGEST:
        raise Unread("is too long to be one value")
    found = list(_TOKEN.finditer(plain(text)))
    return tuple(
        Token(kind=match.lastgroup, text=match.group(), glued=place > 0 and found[place - 1].lastgroup is not None)
        for place, match in enumerate(found)
        if match.lastgroup is not None
    )


def has_loose_group(token: Token) -> bool:
    """Whether a number is read across an ordinary space ("1 200"), which could also part two numbers."""
    return token.kind == "number" and " " in token.text


def numeral(text: str, decimal: DecimalSign | None) -> Decimal:
    """The value of a number as written; Unread where it has two readings or contradicts the declared sign.

    "1,5" and "0.300" have one reading. "1.200" and "1,200" have two, unless the decimal sign is declared.
    """
    body = _GROUP_MARK.sub("", text)
    marks = _DECIMAL_MARK.findall(body)
    grouped = body != text
    if "\u066b" in marks:
        value = _with_arabic_mark(body, marks)
    elif not marks:
        value = body
    elif len(marks) == 1:
        value = _with_one_mark(body, marks[0], decimal, grouped)
    else:
        value = _with_many_marks(body, marks, decimal)
    return _checked(value)


def _with_arabic_mark(body: str, marks: list[str]) -> str:
    if len(marks) > 1:
        raise Unread("has more than one decimal sign")
    return body.replace("\u066b", ".")


def _with_one_mark(body: str, mark: str, decimal: str | None, grouped: bool) -> str:
    head, tail = body.split(mark)
    thousands = not grouped and len(tail) == 3 and 1 <= len(head) <= 3 and not head.startswith("0")
    if decimal == mark:
        return f"{head or 0}.{tail}"
    if decimal is not None:
        if not thousands:
            raise Unread(f'does not have the decimal sign that the layout gives ("{decimal}")')
        return head + tail
    if thousands or (mark == "," and len(tail) == 3 and not grouped and head.strip("0")):
        raise Unread("may give thousands or decimals, and the layout does not give the decimal sign")
    if not head and mark == ",":
        raise Unread("starts with a comma")
    return f"{head or 0}.{tail}"


def _with_many_marks(body: str, marks: list[str], decimal: str | None) -> str:
    last = marks[-1]
    if len(set(marks)) == 1:
        group, whole, tail = last, body, ""
        if decimal == last:
            raise Unread("has more than one decimal sign")
    else:
        whole, tail = body.rsplit(last, 1)
        group = marks[0]
        if set(marks[:-1]) != {group} or group == last or decimal == group:
            raise Unread("mixes its decimal signs")
    first, *others = whole.split(group)
    if not 1 <= len(first) <= 3 or first.startswith("0") or any(len(other) != 3 for other in others):
        raise Unread("is not one number")
    return f"{first}{''.join(others)}.{tail or 0}"


def _checked(value: str) -> Decimal:
    whole, _, decimals = value.partition(".")
    if len(whole) > 1 and whole.startswith("0"):
        raise Unread("starts with a zero, as codes and dates do")
    if len(whole) > _LONGEST_WHOLE or len(decimals) > _LONGEST_DECIMALS:
        raise Unread("has more digits than an amount can have")
    return Decimal(value)


SIZES = ("none", "trace", "small", "moderate", "large")

Phrase = tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Unit:
    """A unit as written: the unit it is kept in, and how many of those it is."""

    base: str
    factor: Decimal


def _units(base: str, spellings: Mapping[str, str]) -> dict[Phrase, Unit]:
    return {
        tuple(name.split()): Unit(base=base, factor=Decimal(factor))
        for factor, names in spellings.items()
        for name in (*names.split(","), *listed(names.split(",")[0]))
    }


VOLUME = _units(
    "ml",
    {
        "1": "ml,mls,cc,ccs,cm3,cm\u00b3,cm^3,millilitre,millilitres,milliliter,milliliters",
        "10": "cl,centilitre,centilitres,centiliter,centiliters",
        "100": "dl,decilitre,decilitres,deciliter,deciliters",
        "1000": "l,lt,ltr,ltrs,litre,litres,liter,liters",
    },
)
MASS = _units("g", {"1": "g,gm,gms,gr,gram,grams,gramme,grammes", "1000": "kg,kgs,kilo,kilos,kilogram,kilograms"})
SHARE = _units("percent_cleared", {"1": "%,percent,per cent,pct,percent_cleared"})
YIELD_UNITS = {**VOLUME, **MASS, **SHARE}
LENGTH = _units(
    "mm",
    {
        "1": "mm,millimetre,millimetres,millimeter,millimeters",
        "10": "cm,cms,centimetre,centimetres,centimeter,centimeters",
    },
)
TIME = _units("min", {"1": "min,mins,minute,minutes,'", "60": "h,hr,hrs,hour,hours"})
FRENCH = _units("Fr", {"1": "fr,french,f,ch"})
_FRENCH_IN_MM = 3  # 1 Fr is a third of a millimetre
BORE = {**LENGTH, **{name: Unit(base="mm", factor=Decimal(1) / _FRENCH_IN_MM) for name in FRENCH}}
CALIBRE = {**FRENCH, **{name: Unit(base="Fr", factor=unit.factor * _FRENCH_IN_MM) for name, unit in LENGTH.items()}}
NO_UNIT: dict[Phrase, Unit] = {}

UNIT_SETS = {
    "ml": VOLUME,
    "g": MASS,
    "percent": SHARE,
    "mm": LENGTH,
    "min": TIME,
    "Fr": CALIBRE,
    "bore": BORE,
    "": NO_UNIT,
}


def _tokens(text: str) -> Phrase:
    return tuple(token.text for token in tokens_of(text))


def _in_other_languages(section: str) -> dict[Phrase, str]:
    return {_tokens(phrase): phrase for phrase in listed(section)}


def _phrases(text: str) -> dict[Phrase, str]:
    return {tuple(phrase.split()): phrase for phrase in text.split(",")}


def _meaning(meaning: str, text: str) -> dict[Phrase, str]:
    return dict.fromkeys((tuple(phrase.split()) for phrase in text.split(",")), meaning)


ABOUT = _phrases(
    "~,+/-,\u00b1,about,approx,approximately,around,circa,ca,c,roughly,est,estimated"
) | _in_other_languages("about")
ABOUT_AFTER = _phrases("approx,approximately,circa,est,estimated,or so")
ABOVE = _phrases(
    ">,>=,more than,greater than,over,above,at least,min,minimum,minimum of,in excess of,no less than,not less than"
) | _in_other_languages("above")
BELOW = _phrases(
    "<,<=,less than,under,below,up to,at most,max,maximum,maximum of,no more than,not more than"
) | _in_other_languages("below")
MORE_AFTER = _phrases("or more,and more,and above,or over")
LESS_AFTER = _phrases("or less,or fewer,or under")
TO = _phrases("-,to,..,...") | _in_other_languages("to")
BETWEEN = _phrases("between,from") | _in_other_languages("between")
AND = _phrases("and") | _in_other_languages("and")

FLOWS = {
    **_meaning("out", "out,output,came out"),
    **_meaning("in", "in,input,instilled,infused,irrigated,lavage,lavage in,irrigation,wash in"),
    **dict.fromkeys(_in_other_languages("out"), "out"),
    **dict.fromkeys(set(_in_other_languages("in")) - set(_in_other_languages("between")), "in"),
}  # "entré" without its accent is "between" in French and Spanish
LAVAGE = {
    (*adverb.split(), *noun.split()): adverb in ("incl", "including", "inclusive of", "includes", "with")
    for adverb, noun in product(
        (
            "incl",
            "including",
            "inclusive of",
            "includes",
            "with",
            "excl",
            "excluding",
            "exclusive of",
            "without",
            "net of",
            "not including",
        ),
        ("lavage", "the lavage", "lavage fluid", "irrigation", "wash"),
    )
} | {("lavage", "included"): True, ("lavage", "not", "included"): False, ("lavage", "excluded"): False, ("net",): False}

_CLEARED = "cleared,clearance,clear,removed,debrided,evacuated,total,in total,today,done,est,estimated"
CLEARED = frozenset(_phrases(_CLEARED))
_ADJECTIVES = (
    "thick",
    "thin",
    "purulent",
    "necrotic",
    "solid",
    "semisolid",
    "semi-solid",
    "turbid",
    "brown",
    "dark",
    "foul",
    "foul-smelling",
    "malodorous",
    "viscous",
    "liquid",
    "infected",
    "wet",
    "old",
    "fatty",
)
_NOUNS = (
    "pus",
    "debris",
    "necrosis",
    "tissue",
    "material",
    "fluid",
    "content",
    "contents",
    "slough",
    "solids",
    "matter",
    "effluent",
    "chunks",
    "fragments",
)
_DEEDS = "aspirated,drained,retrieved,extracted,collected,suctioned,yield,wet weight,sent,sent for culture,sent to lab"


def _as_tokens(word: str) -> Phrase:
    return tuple(word.replace("-", " - ").split())


MATERIAL = frozenset(_as_tokens(word) for word in (*_ADJECTIVES, *_NOUNS)) | frozenset(_in_other_languages("material"))
REMARKS = CLEARED | MATERIAL | frozenset(_phrases(_DEEDS))
JOINS = frozenset((("of",), ("and",), ("with",), ("&",))) | frozenset(_in_other_languages("with"))

_SIZE_WORDS = {
    "none": "none,nil,nothing,no debris,no necrosis,no tissue,no yield,no material",
    "trace": "trace,traces,minimal,scant,scanty,tiny,negligible",
    "small": "small,a little,little,slight",
    "moderate": "moderate,medium",
    "large": "large,lots,a lot,copious,abundant,big",
}


def _with_amount(phrase: Phrase) -> Iterable[Phrase]:
    yield phrase
    for article, noun in product(((), ("a",)), ("amount", "amounts", "amt", "amts", "quantity", "volume")):
        yield (*article, *phrase, noun)


@lru_cache(maxsize=32)
def size_words(extra: tuple[tuple[str, str], ...] = ()) -> Mapping[Phrase, str]:
    """Every phrase that stands for one of the five sizes; `extra` are (phrase, size) pairs from a layout.

    ChoiceError for a size that is not one of the five.
    """
    known = {
        grown: size for size, text in _SIZE_WORDS.items() for phrase in _phrases(text) for grown in _with_amount(phrase)
    }
    for language in LANGUAGES:
        known |= {_tokens(phrase): size for phrase, size in codes_in(language, "yield_words", as_typed=True).items()}
    for phrase, size in extra:
        if size not in SIZES:
            raise unknown_choice("size of a yield", size, SIZES)
        known[tuple(phrase.casefold().split())] = size
    return MappingProxyType(known)
