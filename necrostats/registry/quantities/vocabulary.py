"""The words an amount can hold: units, bounds, ranges, sizes, what went in and out, and harmless remarks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from itertools import product
from types import MappingProxyType

from necrostats.errors import unknown_choice
from necrostats.registry.quantities.tokens import tokens_of
from necrostats.registry.text import LANGUAGES, codes_in, listed

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
