"""One column at a time: its heading, its ids as a whole, then each distinct cell; a share of bad cells condemns it."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from necrostats.registry.privacy.codes import clues_in_codes, clues_in_exact_codes
from necrostats.registry.privacy.dates import (
    are_compact_dates,
    clues_in_dates,
    has_full_date,
    has_part,
    may_be_age,
    without_dates,
)
from necrostats.registry.privacy.headings import (
    asks_for_a_person,
    forget_headings,
    heading_clue,
    is_date_heading,
    is_id_heading,
    is_operator_heading,
    may_head_study_codes,
)
from necrostats.registry.privacy.ids import NOT_CODES, are_mostly_study_codes, are_study_codes, clues_in_ids
from necrostats.registry.privacy.names import OPERATOR, clues_in_names, forget_words, is_pseudonym, only_looks_so
from necrostats.registry.privacy.numbers import LONG_NUMBER, clues_in_numbers
from necrostats.registry.privacy.places import clues_in_places
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.source_table import Group, Shaped, in_blocks, shape_of, shaped
from necrostats.registry.text import fold, versions

_BETWEEN = re.compile(r"->|[^\w\s'-]|\b(?:and|then|with|followed by)\b|\b[x×]? ?\d{1,2}(?: ?x)?\b")


class KnownWords:
    """Words and phrases, whatever their case, accents and blanks."""

    def __init__(self, words: Collection[str]) -> None:
        self._words = frozenset(fold(word).casefold() for word in words) - {""}
        self._shapes = frozenset(map(shape_of, self._words))

    def are_all_of(self, text: str) -> bool:
        """Whether a text is one of them, or several with separators and small counts between, no age or day."""
        if not _are_all_of(text, self._words):
            return False
        folded = fold(text)
        return folded.casefold() in self._words or not (may_be_age(folded) or has_part(folded))

    def may_be_all_of(self, shape: str) -> bool:
        """Whether they can be all of a text of this shape."""
        return _are_all_of(shape, self._shapes)


def _are_all_of(text: str, words: frozenset[str]) -> bool:
    if not words:
        return False
    bare = fold(text).casefold()
    if bare in words:
        return True
    pieces = [piece.strip() for piece in _BETWEEN.split(bare)]
    return any(pieces) and all(piece in words for piece in pieces if piece)


LONGEST_CELL = 32_767
_HARMLESS = re.compile(
    r"\s*(?:[<>~≥≤+\-]?\d{1,6}(?:[.,]\d{1,4})? ?(?:ml|cc|l|L|g|mm|cm|min|%|Fr)?|[A-Za-z]{1,4}[-_]?\d{1,5}|(?:19|"
    r"20)\d\dQ[1-4]|[a-z_]{0,24}"
    r"|[A-Z]{1,3}|[IVX]{1,3}[a-d]?|[+\-]?\d\.\d{1,18}|"
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


SHARE_OF_COLUMN = 0.2
FEWEST_CELLS = 3
MOST_CELLS = 1_000
FEW = 200
_BLANKS = frozenset(("", "-", "—", "n/a", "na", "null", "nan", ".", "?", "unk", "none", "unknown", "nil"))
_UNDECLARED = Clue(kind="date", rule="dates in a column that is not declared as a date column", hard=True)
_LONGEST_SERIAL = 16
_SERIAL_DATES = range(15_000, 60_000)


@dataclass(frozen=True, kw_only=True)
class Role:
    """What a column was declared to be, and whether a person has looked at it."""

    accepted: bool = False
    dates: bool = False
    ids: bool = False
    keys: bool = False
    periods: bool = False
    operators: bool = False
    coded: bool = False


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Hit:
    """A clue over a column (`rows` is None) or at positions (n,) of its rows."""

    clue: Clue
    rows: np.ndarray | None = None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Distinct:
    """The texts of a column, each once, and which of them each row holds (-1 = none)."""

    texts: np.ndarray
    which: np.ndarray

    def said(self) -> Shaped:
        """The texts that say anything; none that stands for a blank holds a digit."""
        texts = shaped(self.texts)
        return texts.without([shape.strip().casefold() in _BLANKS for shape in texts.shapes])

    def counts(self) -> np.ndarray:
        """(U,) how many rows hold each text."""
        return np.bincount(self.which[self.which >= 0], minlength=len(self.texts))


def distinct(column: Any) -> Distinct:
    """The distinct texts of a list or array of cells, or of something that already has `texts` and `which`.

    A text that no row holds, such as the heading above them, is no text of the column.
    """
    if hasattr(column, "texts") and hasattr(column, "which"):
        return _held(np.asarray(column.texts, dtype=object), np.asarray(column.which))
    which, texts = pd.factorize(np.asarray(column, dtype=object))
    return Distinct(texts=np.array([str(text) for text in texts], dtype=object), which=which)


def _held(texts: np.ndarray, which: np.ndarray) -> Distinct:
    held = np.bincount(which[which >= 0], minlength=len(texts)) > 0
    if held.all():
        return Distinct(texts=texts, which=which)
    places = np.append(np.where(held, np.cumsum(held) - 1, -1), -1)
    return Distinct(texts=texts[held], which=places[which])


def _says_nothing(column: Any) -> bool:
    """Quickly, whether a column that holds each text once holds only the blank."""
    texts = getattr(column, "texts", None)
    return texts is not None and len(texts) == 1 and not texts[0]


def hits_in_column(heading: str, column: Any, role: Role, known: KnownWords) -> Iterator[Hit]:
    """Every hit in a column: one for the whole of it, or one a clue with its rows."""
    if _says_nothing(column):
        return
    cells = distinct(column)
    said = cells.said()
    if not len(said):
        return
    whole = dict.fromkeys(() if role.accepted else _about_the_whole(heading, said, role))
    yield from (Hit(clue=clue) for clue in whole)
    bad = _bad_texts(said, _Judge(heading, role, known))
    kept = {clue: places for clue, places in bad.items() if clue not in whole}
    if kept:
        yield from _cells_or_column(kept, cells, said, refused=bool(whole), coded=role.coded)


def _about_the_whole(heading: str, said: Shaped, role: Role) -> Iterator[Clue]:
    clue = None if role.periods else heading_clue(heading)
    if clue and not (_may_head_codes(heading, clue, role) and are_mostly_study_codes(said)):
        yield clue
    if role.ids or is_id_heading(heading):
        yield from clues_in_ids(said)
    if is_date_heading(heading) and not role.dates and _are_serial_dates(said):
        yield _UNDECLARED


def _may_head_codes(heading: str, clue: Clue, role: Role) -> bool:
    """Whether study codes may stand under it: "Réf" is one of a device, but not where it tells patients apart."""
    return (role.ids and may_head_study_codes(heading)) or (role.keys and clue.kind == "device")


def _are_serial_dates(said: Shaped) -> bool:
    texts = (text for text in said.texts[said.which >= 0] if len(text) <= _LONGEST_SERIAL)
    whole = (text.strip().split(".")[0] for text in texts)
    return sum(each.isdecimal() and int(each) in _SERIAL_DATES for each in whole) > len(said) / 2


class _Judge:
    """The clues in one text of a column, given what the column is and which words are known."""

    def __init__(self, heading: str, role: Role, known: KnownWords) -> None:
        self.role, self.known = role, known
        self.operators = (role.operators or is_operator_heading(heading)) and not role.accepted
        self.ids = role.ids or is_id_heading(heading)
        self.codes_only = asks_for_a_person(heading)

    def clues(self, text: str) -> tuple[Clue, ...]:
        clues = clues_in(text, dates_belong=self.role.dates)
        if clues and self.known.are_all_of(text):
            clues = tuple(clue for clue in clues if clue.hard)
        if self.operators and not is_pseudonym(fold(text)):
            clues = (*clues, OPERATOR)
        if self.codes_only and not are_study_codes([text]):
            clues = (*clues, NOT_CODES)
        if self.ids and text[:1].isalpha():
            clues = tuple(clue for clue in clues if clue is not LONG_NUMBER)
        return tuple(clue for clue in clues if clue.hard or not self.role.accepted)

    def judges_alike(self, shape: str) -> bool:
        """Whether the clues in a shape are those in each text of it, but for its exceptions."""
        return is_harmless(shape) or (stands_for_its_texts(shape) and not self.known.may_be_all_of(shape))


def _bad_texts(said: Shaped, judge: _Judge) -> dict[Clue, np.ndarray]:
    """The places of the texts with each clue, the clues in the order in which they are first met."""
    found: dict[tuple[Clue, ...], list[np.ndarray]] = defaultdict(list)
    few = len(said) < FEW
    alone = [np.flatnonzero(said.which >= 0)] if few else []
    for group in () if few else said.groups():
        if judge.judges_alike(group.shape):
            apart = exceptions(group)
            alone.append(group.places[apart])
            found[judge.clues(group.shape)].append(group.places[~apart])
        else:
            alone.append(group.places)
    for clues, places in _one_by_one(said.texts, alone, judge).items():
        found[clues].append(np.array(places))
    return _by_clue(found)


def _one_by_one(texts: np.ndarray, alone: list[np.ndarray], judge: _Judge) -> dict[tuple[Clue, ...], list[int]]:
    found: dict[tuple[Clue, ...], list[int]] = defaultdict(list)
    for place in np.concatenate(alone):
        found[judge.clues(texts[place])].append(place)
    return found


def _by_clue(found: dict[tuple[Clue, ...], list[np.ndarray]]) -> dict[Clue, np.ndarray]:
    places: dict[Clue, list[np.ndarray]] = defaultdict(list)
    first: dict[Clue, tuple[int, int]] = {}
    for clues, each in found.items():
        where = np.concatenate(each)
        for number, clue in enumerate(clues if len(where) else ()):
            places[clue].append(where)
            met = (int(where.min()), number)
            first[clue] = min(first.get(clue, met), met)
    return {clue: np.concatenate(places[clue]) for clue in sorted(first, key=first.__getitem__)}


def _cells_or_column(
    found: Mapping[Clue, np.ndarray], cells: Distinct, said: Shaped, *, refused: bool, coded: bool
) -> Iterator[Hit]:
    """Hits in cells, or in the column where they are many; the look of words in a `coded` one is told by cells only."""
    counts = cells.counts()
    filled = int(counts[said.which >= 0].sum())
    for clue, texts in found.items():
        number = int(counts[texts].sum())
        many = number > MOST_CELLS or (number >= FEWEST_CELLS and number >= SHARE_OF_COLUMN * filled)
        if many and not (coded and only_looks_so(clue.rule)):
            yield Hit(clue=clue)
        elif not refused and number:
            marked = np.zeros(len(cells.texts) + 1, dtype=bool)
            marked[texts] = True
            yield Hit(clue=clue, rows=np.flatnonzero(marked[cells.which]))
