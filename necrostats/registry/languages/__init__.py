"""The words of five languages: lists as data, one file a language, read once.

A word that means one thing in every list is always known. Where two languages differ over a word, or it has one or two
letters only, it counts in the language that the layout names.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from necrostats.registry.folding import folded

LANGUAGES = ("de", "es", "fr", "it")  # English stands beside the code that reads it
SHORT = 2


def listed(section: str) -> tuple[str, ...]:
    """Every word or phrase of one of the lists under [words], with and without accents, in lower case, each once."""
    found = [word for language in LANGUAGES for word in _split(_file(language)["words"].get(section, ""))]
    return tuple(dict.fromkeys([*found, *map(folded, found)]))


def codes_in(language: str, column: str, *, as_typed: bool = False) -> Mapping[str, str]:
    """The words of one language for the codes of a column, or of "yes_no": word → code; none for English.

    The words are folded; `as_typed`, both folded and in lower case with their accents.
    """
    if language not in LANGUAGES:
        return {}
    codes = _file(language)["codes"].get(column, {})
    pairs = [(word, code) for code, text in codes.items() for word in _split(text)]
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
    lines = Path(__file__).with_name("ordinary.txt").read_text(encoding="utf-8").splitlines()
    found = {word for line in lines if not line.startswith("#") for word in line.split()}
    for targets in headings().values():
        found |= {word for text in targets.values() for word in re.findall(r"[^\W\d_]{4,}", folded(text))}
    for language in LANGUAGES:
        for lists in (_file(language)["words"], *_file(language)["codes"].values()):
            found |= {word for text in lists.values() for word in re.findall(r"\w{4,}", folded(text))}
    return frozenset(found)


@lru_cache(maxsize=1)
def headings() -> Mapping[str, Mapping[str, str]]:
    """What units head their columns with: section → target → phrases, as one text with commas between."""
    return tomllib.loads(Path(__file__).with_name("headings.toml").read_text(encoding="utf-8"))


@lru_cache(maxsize=8)
def _file(language: str) -> Mapping[str, Mapping]:
    return tomllib.loads(Path(__file__).with_name(f"{language}.toml").read_text(encoding="utf-8"))


def _split(text: str) -> list[str]:
    return [word.strip().casefold() for word in text.split(",") if word.strip()]
