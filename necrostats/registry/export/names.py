"""Headings, sheets and words compared as people compare them: accents, case, line breaks and blanks forgiven."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable
from functools import lru_cache

_LONGEST_COMPARED = 80


@lru_cache(maxsize=16384)
def folded(name: str) -> str:
    """A name without accents, in lower case, every run of blanks or line breaks one blank."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    bare = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return " ".join("".join(letter for letter in bare if unicodedata.category(letter) != "Cf").split())


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name most like this one; blank if none is."""
    by_fold = {folded(each): each for each in known}
    near = difflib.get_close_matches(folded(name)[:_LONGEST_COMPARED], list(by_fold), n=1)
    return by_fold[near[0]] if near else ""


def hint(name: str, known: Iterable[str]) -> str:
    """The end of a sentence that names the nearest match, or nothing."""
    near = nearest(name, known)
    return f'; the nearest is "{near}"' if near else ""


def letters_of(number: int) -> str:
    """The letters of a column as a spreadsheet shows them: 1 → A, 28 → AB."""
    letters = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters
