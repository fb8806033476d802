"""Names: the nearest heading or sheet, the letters of a column, and what two writings of an id may differ in."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping

from necrostats.registry.text import folded

_LONGEST_COMPARED = 80
ID_HABITS: Mapping[str, Callable[[str], str]] = {
    "decimals": lambda key: re.sub(r"(?<=[0-9])[.,]0+$", "", key),
    "blanks": lambda key: key.replace(" ", ""),
    "hyphens": lambda key: re.sub(r"[-_/.]", "", key),
    "zeros": lambda key: re.sub(r"(?<![0-9])0+(?=[0-9])", "", key),
}


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
