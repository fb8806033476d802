"""Texts made comparable: full-width digits, accents, invisible characters and look-alike letters are undone."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_DASHES = "‐‑‒–—―−﹣－⁃"
_QUOTES = "’‘ʼ`´′"
_LETTERS = {
    "ß": "ss",
    "ẞ": "SS",
    "ø": "o",
    "Ø": "O",
    "ł": "l",
    "Ł": "L",
    "đ": "d",
    "Đ": "D",
    "æ": "ae",
    "Æ": "Ae",
    "œ": "oe",
    "Œ": "Oe",
    "þ": "th",
    "Þ": "Th",
    "ð": "d",
    "Ð": "D",
    "ı": "i",
}
_PLAIN = str.maketrans({**dict.fromkeys(_DASHES, "-"), **dict.fromkeys(_QUOTES, "'"), "·": ".", **_LETTERS})
_LOOKALIKES = str.maketrans(
    "абсԁеѕһіјкӏмпорԛгтуцѵхАВСЕНІЈКМОРЅТУХΑΒΕΖΗΙΚΜΝΟΡΤΥΧαεινορτυχ",
    "abcdeshijklmnopqrtyuvxABCEHIJKMOPSTYXABEZHIKMNOPTYXaeivoptux",
)
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])")
_NOT_WORD = re.compile(r"[^\w]+|_+")


def fold(text: str) -> str:
    """The text in compatibility form, without accents, invisible characters or repeated blanks; case is kept."""
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    spread = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text.translate(_PLAIN)))
    return " ".join("".join(map(_plain, spread)).translate(_PLAIN).split())


def _plain(character: str) -> str:
    if character.isascii() and character.isprintable():
        return character
    if character.isspace():
        return " "
    category = unicodedata.category(character)
    if category == "Nd":
        return str(unicodedata.decimal(character))
    return "" if category in ("Cf", "Cc", "Mn", "Me") else character


def versions(text: str) -> tuple[str, ...]:
    """The folded text and, where letters of another script remain, the same with look-alikes turned into Latin."""
    folded = fold(text)
    if folded.isascii():
        return (folded,)
    latin = folded.translate(_LOOKALIKES)
    return (folded,) if latin == folded else (folded, latin)


def fold_heading(heading: str) -> str:
    """A heading as lower-case words with single blanks: "Patient-\\nName", "patientName" → "patient name"."""
    return " ".join(_NOT_WORD.sub(" ", _CAMEL.sub(" ", fold(heading))).casefold().split())


@lru_cache(maxsize=10_000)
def heading_versions(heading: str) -> tuple[str, ...]:
    """`fold_heading` of each version of a heading."""
    return tuple(dict.fromkeys(fold_heading(version) for version in versions(heading)))
