"""Texts of cells: folded so that they compare as people compare them, blank or unknown, and safe in a spreadsheet.

A word that means one thing in every list is always known. Where two languages differ over a word, or it has one or two
letters only, it counts in the language that the layout names.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
import unicodedata
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from functools import lru_cache
from pathlib import Path

import pandas as pd

from necrostats.errors import NecrostatsError


@lru_cache(maxsize=16384)
def folded(name: str) -> str:
    """A name without accents, in lower case, every run of blanks or line breaks one blank."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return " ".join("".join(letter for letter in bare if unicodedata.category(letter) != "Cf").split())


def without_accents(text: str) -> str:
    """A text whose letters have lost their accents, all else as written."""
    parts = unicodedata.normalize("NFKD", text) if not text.isascii() else text
    return unicodedata.normalize("NFC", "".join(each for each in parts if not unicodedata.combining(each)))


def as_code(text: str) -> str:
    """A code or a heading whatever its case and blanks: "Lesser  sac" → "lesser_sac"."""
    return "_".join(text.casefold().split())


_LONGEST_COMPARED = 80


def nearest(name: str, known: Iterable[str], *, key: Callable[[str], str] = folded) -> str:
    """The known name most like this one when both are written as `key` writes them; blank if none is."""
    by_key = {key(each): each for each in known}
    near = difflib.get_close_matches(key(name)[:_LONGEST_COMPARED], list(by_key), n=1)
    return by_key[near[0]] if near else ""


def hint(name: str, known: Iterable[str], *, key: Callable[[str], str] = folded) -> str:
    """The end of a sentence that names the nearest match, or nothing."""
    near = nearest(name, known, key=key)
    return f'; the nearest is "{near}"' if near else ""


_ANY_DASH = "‐‑‒–—―−﹣－⁃"
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
_IN_LATIN = str.maketrans({**dict.fromkeys(_ANY_DASH, "-"), **dict.fromkeys(_QUOTES, "'"), "·": ".", **_LETTERS})
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
    spread = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text.translate(_IN_LATIN)))
    return " ".join("".join(map(_in_latin, spread)).translate(_IN_LATIN).split())


def _in_latin(character: str) -> str:
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


_STARTS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20"
MAY_START_A_FORMULA = f"'{_STARTS}"
"""The first characters of every text that `defused` may change."""

_WOULD_START = re.compile(f"'*[{re.escape(_STARTS)}]")
_WAS_DEFUSED = re.compile(f"'+[{re.escape(_STARTS)}]")
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?")


def defused(text: str) -> str:
    """The text as it is written to a csv file; plain numbers stay as they are."""
    if text and not text[0].isalnum() and _WOULD_START.match(text) and not _PLAIN_NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def undefused(text: str) -> str:
    """The text that `defused` was given."""
    return text[1:] if text.startswith("'") and _WAS_DEFUSED.match(text) else text


_WORD_LISTS = Path(__file__).with_name("languages")
LANGUAGES = ("da", "de", "es", "fr", "it", "nl", "no", "pl", "pt", "sv")  # English stands beside the code that reads it
SHORT = 2


def listed(section: str) -> tuple[str, ...]:
    """Every word or phrase of one of the lists under [words], with and without accents, in lower case, each once."""
    found = [word for language in LANGUAGES for word in _parted(_words_of(language)["words"].get(section, ""))]
    return tuple(dict.fromkeys([*found, *map(folded, found)]))


def codes_in(language: str, column: str, *, as_typed: bool = False) -> Mapping[str, str]:
    """The words of one language for the codes of a column, or of "yes_no": word → code; none for English.

    The words are folded; `as_typed`, both folded and in lower case with their accents.
    """
    if language not in LANGUAGES:
        return {}
    codes = _words_of(language)["codes"].get(column, {})
    pairs = [(word, code) for code, text in codes.items() for word in _parted(text)]
    return {folded(word): code for word, code in pairs} | (dict(pairs) if as_typed else {})


@lru_cache(maxsize=64)
def common_codes(column: str) -> Mapping[str, str]:
    """The words of all languages for the codes of a column that are long enough and mean one code only."""
    meanings: dict[str, set[str]] = {}
    for language in LANGUAGES:
        for word, code in codes_in(language, column).items():
            meanings.setdefault(word, set()).add(code)
    return {word: codes.pop() for word, codes in meanings.items() if len(word) > SHORT and len(codes) == 1}


@lru_cache(maxsize=1)
def ordinary_words() -> frozenset[str]:
    """Single folded words that units of other languages write and that name nobody."""
    lines = (_WORD_LISTS / "ordinary.txt").read_text(encoding="utf-8").splitlines()
    found = {word for line in lines if not line.startswith("#") for word in line.split()}
    for targets in headings().values():
        found |= {word for text in targets.values() for word in re.findall(r"[^\W\d_]{4,}", folded(text))}
    for language in LANGUAGES:
        for lists in (_words_of(language)["words"], *_words_of(language)["codes"].values()):
            found |= {word for text in lists.values() for word in re.findall(r"\w{4,}", folded(text))}
    return frozenset(found)


@lru_cache(maxsize=1)
def headings() -> Mapping[str, Mapping[str, str]]:
    """What units head their columns with: section → target → phrases, as one text with commas between."""
    return tomllib.loads((_WORD_LISTS / "headings.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=16)
def _words_of(language: str) -> Mapping[str, Mapping]:
    return tomllib.loads((_WORD_LISTS / f"{language}.toml").read_text(encoding="utf-8"))


def _parted(text: str) -> list[str]:
    return [word.strip().casefold() for word in text.split(",") if word.strip()]


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
