"""All clues in one text, each pattern tried once, with a short way round for cells that hold a code or a number."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np

from necrostats.registry.privacy.codes import clues_in_codes, clues_in_exact_codes, clues_in_places
from necrostats.registry.privacy.dates import are_compact_dates, clues_in_dates, has_full_date, without_dates
from necrostats.registry.privacy.headings import forget_headings
from necrostats.registry.privacy.names import clues_in_names, forget_words
from necrostats.registry.privacy.numbers import clues_in_numbers
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.shapes import Group, in_blocks, shape_of
from necrostats.registry.text import versions

LONGEST_CELL = 32_767
_HARMLESS = re.compile(
    r"\s*(?:[<>~≥≤+\-]?\d{1,6}(?:[.,]\d{1,4})? ?(?:ml|cc|l|L|g|mm|cm|min|%|Fr)?|[A-Za-z]{1,4}[-_]?\d{1,5}|(?:19|"
    r"20)\d\dQ[1-4]|[a-z_]{0,24}"
    r"|[A-Z]{1,3}|[IVX]{1,3}[ab]?|[+\-]?\d\.\d{1,18}|"
    r"\d{1,3}(?:\.\d)?(?: ?[x*×] ?\d{1,3}(?:\.\d)?){1,2}(?: ?[mc]m)?)\s*"
)
# Shapes of codes in which no clue hangs on which digits they hold, but whether eight are a date.
_LETTERS = "(?:[A-Za-z]{1,12}[-_]?)?"
_SHORT_CODE = re.compile(rf"{_LETTERS}(?:1{{5,7}}|1[-_]1{{5,7}}|11[-_]1{{5,6}}|111[-_]1{{5}})")
_EIGHT_DIGITS = re.compile(f"{_LETTERS}1{{8}}")
_SHORT = 300
_TOO_LONG = Clue(kind="other_code", rule="a text longer than a cell can be", hard=True)


def is_harmless(text: str) -> bool:
    """Whether a text is so short and plain (a number, a study code, a lower-case code) that nothing can hide in it."""
    return _HARMLESS.fullmatch(text) is not None


def stands_for_its_texts(shape: str) -> bool:
    """Whether the clues in a shape are those in each text of it, but for those that `exceptions` names."""
    return any(each.fullmatch(shape) for each in (_HARMLESS, _SHORT_CODE, _EIGHT_DIGITS))


def exceptions(group: Group) -> np.ndarray:
    """(n,) which texts of a shape that stands for its texts it does not stand for."""
    if _EIGHT_DIGITS.fullmatch(group.shape):
        return np.concatenate([are_compact_dates(block) for block in in_blocks(group.numbers())])
    return np.zeros(len(group), dtype=bool)


def clues_in(text: str, *, dates_belong: bool = False) -> tuple[Clue, ...]:
    """The clues in a text, each once; in a declared date column dates are no clue."""
    if is_harmless(text):
        return ()
    if len(text) > LONGEST_CELL:
        return (_TOO_LONG,)
    return tuple(dict.fromkeys(clue for version in versions(text) for clue in _clues(version, dates_belong)))


def _clues(text: str, dates_belong: bool) -> list[Clue]:
    undated = without_dates(text) if has_full_date(text) else text
    shape = shape_of(undated)
    return [
        *clues_in_dates(text, dates_belong=dates_belong),
        *clues_in_numbers(undated),
        *clues_in_exact_codes(undated),
        *(_clues_in_shape(shape) if len(shape) <= _SHORT else _in_shape(shape)),
    ]


def _in_shape(shape: str) -> tuple[Clue, ...]:
    return (*clues_in_codes(shape), *clues_in_places(shape), *clues_in_names(shape))


_clues_in_shape = lru_cache(maxsize=100_000)(_in_shape)


def forget() -> None:
    """Drop the texts kept to save time."""
    _clues_in_shape.cache_clear()
    forget_words()
    forget_headings()
