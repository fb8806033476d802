"""One column at a time: its heading, its ids as a whole, then each distinct cell; a share of bad cells condemns it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from necrostats.registry.privacy.folding import fold
from necrostats.registry.privacy.headings import (
    asks_for_a_person,
    heading_clue,
    is_date_heading,
    is_id_heading,
    is_operator_heading,
)  # fmt: skip
from necrostats.registry.privacy.ids import NOT_CODES, are_study_codes, clues_in_ids
from necrostats.registry.privacy.known_words import KnownWords
from necrostats.registry.privacy.names import OPERATOR, is_pseudonym
from necrostats.registry.privacy.numbers import LONG_NUMBER
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.privacy.texts import clues_in

SHARE_OF_COLUMN = 0.2
FEWEST_CELLS = 3
MOST_CELLS = 1_000
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
    periods: bool = False
    operators: bool = False


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

    @property
    def filled(self) -> np.ndarray:
        """(U,) whether a text says anything."""
        return np.array([text.strip().casefold() not in _BLANKS for text in self.texts], dtype=bool)


def distinct(column: Any) -> Distinct:
    """The distinct texts of a list or array of cells, or of something that already has `texts` and `which`."""
    if hasattr(column, "texts") and hasattr(column, "which"):
        return Distinct(texts=np.asarray(column.texts, dtype=object), which=np.asarray(column.which))
    which, texts = pd.factorize(np.asarray(column, dtype=object))
    return Distinct(texts=np.array([str(text) for text in texts], dtype=object), which=which)


def hits_in_column(heading: str, column: Any, role: Role, known: KnownWords) -> Iterator[Hit]:
    """Every hit in a column: one for the whole of it, or one a clue with its rows."""
    cells = distinct(column)
    filled = cells.filled
    said = cells.texts[filled]
    if not len(said):
        return
    whole = dict.fromkeys(() if role.accepted else _about_the_whole(heading, said, role))
    yield from (Hit(clue=clue) for clue in whole)
    counts = np.bincount(cells.which[cells.which >= 0], minlength=len(cells.texts))
    bad = _bad_texts(heading, cells, filled, role, known)
    kept = {clue: texts for clue, texts in bad.items() if clue not in whole}
    yield from _cells_or_column(kept, cells, counts, int(counts[filled].sum()), bool(whole))


def _about_the_whole(heading: str, said: np.ndarray, role: Role) -> Iterator[Clue]:
    if clue := None if role.periods else heading_clue(heading):
        yield clue
    if asks_for_a_person(heading) and not are_study_codes(said):
        yield NOT_CODES
    if role.ids or is_id_heading(heading):
        yield from clues_in_ids(said)
    if is_date_heading(heading) and not role.dates and _are_serial_dates(said):
        yield _UNDECLARED


def _are_serial_dates(said: Sequence[str]) -> bool:
    whole = (text.strip().split(".")[0] for text in said if len(text) <= _LONGEST_SERIAL)
    return sum(each.isdecimal() and int(each) in _SERIAL_DATES for each in whole) > len(said) / 2


def _bad_texts(
    heading: str, cells: Distinct, filled: np.ndarray, role: Role, known: KnownWords
) -> Mapping[Clue, list[int]]:
    found: dict[Clue, list[int]] = {}
    operators = (role.operators or is_operator_heading(heading)) and not role.accepted
    ids = role.ids or is_id_heading(heading)
    for place in np.flatnonzero(filled):
        text = cells.texts[place]
        clues = clues_in(text, dates_belong=role.dates)
        if clues and known.are_all_of(text):
            clues = tuple(clue for clue in clues if clue.hard)
        if operators and not is_pseudonym(fold(text)):
            clues = (*clues, OPERATOR)
        if ids and text[:1].isalpha():
            clues = tuple(clue for clue in clues if clue is not LONG_NUMBER)
        for clue in clues:
            if clue.hard or not role.accepted:
                found.setdefault(clue, []).append(int(place))
    return found


def _cells_or_column(
    found: Mapping[Clue, list[int]], cells: Distinct, counts: np.ndarray, filled: int, refused: bool
) -> Iterator[Hit]:
    for clue, texts in found.items():
        number = int(counts[texts].sum())
        if number > MOST_CELLS or (number >= FEWEST_CELLS and number >= SHARE_OF_COLUMN * filled):
            yield Hit(clue=clue)
        elif not refused and number:
            marked = np.zeros(len(cells.texts) + 1, dtype=bool)
            marked[texts] = True
            yield Hit(clue=clue, rows=np.flatnonzero(marked[cells.which]))
