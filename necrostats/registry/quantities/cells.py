"""A whole cell before any grammar: its text made plain, and the cells that hold no value of their own."""

from __future__ import annotations

import math
import unicodedata
from decimal import Decimal
from functools import lru_cache

import pandas as pd

from necrostats.errors import NecrostatsError
from necrostats.registry.languages import listed

LONGEST = 200

_BLANKS = frozenset(
    (
        "",
        "-",
        "--",
        "---",
        "n/a",
        "n.a.",
        "n.a",
        "na",
        "null",
        "nan",
        ".",
        "..",
        "...",
        "?",
        "??",
        "???",
        "unk",
        "unk.",
        "unknown",
        "not known",
        "not recorded",
        "not documented",
        "not measured",
        "not stated",
        "not available",
        "not applicable",
        "missing",
        "n.r.",
        "nr",
        "nd",
        "n.d.",
        "n/r",
        "n/d",
        "n/k",
        "nk",
        *listed("unknown"),
    )
)
_ERRORS = frozenset(("#n/a", "#div/0!", "#ref!", "#value!", "#name?", "#num!", "#null!", "#spill!", "#calc!"))
_ELSEWHERE = frozenset(
    (
        "as before",
        "as above",
        "as previous",
        "as previously",
        "as last time",
        "as per previous",
        "same",
        "same again",
        "same as before",
        "same as above",
        "same as last time",
        "see above",
        "idem",
        "id.",
        "ditto",
        "do.",
        "unchanged",
        '"',
        "''",
        "'",
        "\u3003",
        '-"-',
        '- " -',
        *listed("elsewhere"),
    )
)
_KEPT = frozenset(
    " ".join((verb, noun))
    for verb in ("see", "see the", "as per", "refer to", "in", "cf", "cf.", "per")
    for noun in (
        "report",
        "reports",
        "notes",
        "note",
        "letter",
        "op note",
        "op notes",
        "endoscopy report",
        "comments",
        "comment",
        "text",
        "images",
        "photos",
        "record",
        "records",
        "summary",
        "discharge summary",
    )
) | frozenset(listed("text_kept"))

_DASHES = "\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u2043\ufe58\ufe63\uff0d"
_DROPPED = "\u00ad\u200b\u200c\u200d\u200e\u200f\u2060\u2066\u2067\u2068\u2069\ufeff"
_PLAIN = {
    **dict.fromkeys(_DASHES, "-"),
    **dict.fromkeys(_DROPPED, ""),
    **dict.fromkeys("\u2006\u2008\u2009\u202f", "\u2009"),
    **dict.fromkeys("\u2018\u2019\u02bc\u2032\u00b4`", "'"),
    **dict.fromkeys("\u201c\u201d\u201e\u2033", '"'),
    **dict.fromkeys("\u223c\u2248\u2243\u2245\u02dc", "~"),
    **dict.fromkeys("\u2265\u2a7e\u2267", ">="),
    **dict.fromkeys("\u2264\u2a7d\u2266", "<="),
    **dict.fromkeys("\u00d7\u2715\u2716*", "x"),
    **dict.fromkeys("\u066a\uff05", "%"),
    "\u2026": "...",
    "\u2113": "l",
    "\u3396": "ml",
    "\u3397": "dl",
    "\u33c4": "cc",
    "\u338f": "kg",
    "\u339d": "cm",
    "\u339c": "mm",
    "\u33a4": "cm3",
    "\u2047": "??",
}


class Unread(NecrostatsError, ValueError):
    """A cell that cannot be read whole; its text continues the sentence that begins with the cell."""


def without_value(text: str) -> str:
    """The rule for a cell that holds no value: "blank" or "text kept"; blank if it may hold one.

    Unread for a cell that points to another, or holds the error of a formula.
    """
    if points_elsewhere(text):
        raise Unread("points to another cell instead of giving a value")
    if _key(text) in _ERRORS:
        raise Unread("is the error of a formula")
    return "blank" if is_blank(text) else "text kept" if keeps_text(text) else ""


def written(value: object) -> str:
    """A cell as text: nothing for None and not-a-number, no ".0" after a whole number."""
    if isinstance(value, str):
        return value
    if value is None or pd.isna(value) is True:
        return ""
    if isinstance(value, float) and math.isfinite(value):
        return f"{Decimal(repr(float(value))):f}".removesuffix(".0")
    return str(value)


def is_number(value: object) -> bool:
    """Whether a cell holds a number rather than text (its decimal sign is then known)."""
    return isinstance(value, int | float) and not isinstance(value, bool)


def plain(text: str) -> str:
    """The text with one sort of digit, dash, quote and space; line breaks become ";"; lower case.

    Digits of every script become 0-9; superscripts and fractions stay, since they mean something else.
    """
    return _plain(text.strip()[: LONGEST + 1])


@lru_cache(maxsize=4096)
def _plain(text: str) -> str:
    return "".join(map(_plain_character, text)).casefold().strip(" ;")


def _plain_character(character: str) -> str:
    if character in _PLAIN:
        return _PLAIN[character]
    if (digit := unicodedata.decimal(character, None)) is not None:
        return str(digit)
    if "\uff01" <= character <= "\uff5e":
        return _plain_character(chr(ord(character) - 0xFEE0))
    category = unicodedata.category(character)
    if category == "Zs":
        return " "
    return ";" if category in ("Cc", "Zl", "Zp") else character


def _key(text: object) -> str:
    return " ".join(plain(written(text)).split())


def is_blank(text: object) -> bool:
    """Whether a cell says nothing: empty, "-", "n/a", "?", "not recorded". Blank is unknown, never none."""
    return _key(text) in _BLANKS


def points_elsewhere(text: object) -> bool:
    """Whether a cell only points to another: "as before", "same", "idem", a ditto mark."""
    return _key(text) in _ELSEWHERE


def keeps_text(text: object) -> bool:
    """Whether a cell sends the reader to a document ("see report"): unknown, and the text is kept."""
    return _key(text) in _KEPT
