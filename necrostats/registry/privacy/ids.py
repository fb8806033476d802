"""Columns of ids as a whole: running study codes pass; record numbers, dates and initials inside ids do not.

The ids that a table holds, kept as a shape and whole numbers: a fraction of the room that their texts would take.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from necrostats.registry.privacy.numbers import are_birthdays
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.source_table import MOST_DIGITS, Group, Shaped, in_blocks, shaped
from necrostats.registry.text import fold

_NUMBERS = Clue(kind="record_number", rule="ids that look like record numbers, not running study codes")
_DATES = Clue(kind="date", rule="ids that hold a date")
_INITIALS = Clue(kind="name", rule="ids that begin or end with initials")
_WORDS = Clue(kind="name", rule="a heading fit for study codes over other things")

_CODE = re.compile(r"([A-Za-z]*)[-_ /.]?(\d+)[-_ /.]?([A-Za-z]*)")
_STUDY_CODE = re.compile(r"[A-Za-z]{0,12}[-_ /.#]?\d{1,9}(?:[-_ /.][A-Za-z]{0,4}\d{0,5}){0,3}[a-z]?")
MOSTLY = 0.8
_LONG_DIGITS = 6
_LONGEST_RUNNING = MOST_DIGITS
_LONGEST_BARE = 5
_SPARSE = 50
_MOST_MONTHS = 0.8
_DATE_DIGITS = (6, 8)
_CENTURIES = (19, 20)
_FEWEST = 3


@dataclass(frozen=True, kw_only=True)
class _Parts:
    """The parts of `ids` ids of one shape: letters, how many digits, letters; of long numbers the lowest and highest,
    and how many hold a day of the calendar and a year."""

    ids: int
    before: str
    digits: int
    after: str
    lowest: int = 0
    highest: int = 0
    days: int = 0
    years: int = 0


def clues_in_ids(texts: Sequence[str] | Shaped) -> tuple[Clue, ...]:
    """The clues in the distinct ids of a column, taken together."""
    found = ((group, _CODE.fullmatch(group.shape)) for group in _folded_groups(shaped(texts)))
    parts = [_parts(group, code) for group, code in found if code]
    rules = ((_dated, _DATES), (_sparse, _NUMBERS), (_initialled, _INITIALS))
    return tuple(clue for rule, clue in rules if rule(parts))


def are_study_codes(texts: Sequence[str] | Shaped) -> bool:
    """Whether every text is a short code such as P001, 17 or WON-12."""
    return all(_STUDY_CODE.fullmatch(group.shape) for group in _folded_groups(shaped(texts)))


def are_mostly_study_codes(texts: Sequence[str] | Shaped) -> bool:
    """Whether at least four of five texts are: a total or a remark under them does not make them names."""
    groups = list(_folded_groups(shaped(texts)))
    codes = sum(len(group) for group in groups if _STUDY_CODE.fullmatch(group.shape))
    return codes >= MOSTLY * sum(map(len, groups))


NOT_CODES = _WORDS


def _folded_groups(texts: Shaped) -> Iterator[Group]:
    """The folded texts by shape: those that folding leaves as they are as they stand, the others folded each."""
    others: list[str] = []
    for group in texts.groups():
        if fold(group.shape) == group.shape:
            yield group
        else:
            others += map(fold, group.texts)
    yield from shaped(others).groups()


def _parts(group: Group, code: re.Match[str]) -> _Parts:
    known = {"ids": len(group), "before": code[1], "digits": group.digits, "after": code[3]}
    if not _LONG_DIGITS <= group.digits <= _LONGEST_RUNNING:
        return _Parts(**known)
    numbers = group.numbers()
    return _Parts(**known, lowest=int(numbers.min()), highest=int(numbers.max()), **_days_and_years(group))


def _days_and_years(group: Group) -> dict[str, int]:
    """How many of the numbers of six or eight digits hold a day of the calendar, and how many of eight a year."""
    days = years = 0
    for numbers in in_blocks(group.numbers()) if group.digits in _DATE_DIGITS else ():
        six = numbers
        if group.digits == 8:
            year_first = np.isin(numbers // 1_000_000, _CENTURIES)
            years += np.count_nonzero(year_first | np.isin(numbers // 100 % 100, _CENTURIES))
            six = np.where(year_first, numbers % 1_000_000, numbers // 10_000 * 100 + numbers % 100)
        days += np.count_nonzero(are_birthdays(six))
    return {"days": int(days), "years": int(years)}


def _total(parts: Sequence[_Parts]) -> int:
    return sum(each.ids for each in parts)


def _dated(parts: Sequence[_Parts]) -> bool:
    """Most of the six or eight digits make a day of the calendar, which running numbers do not."""
    dates = [each for each in parts if each.digits in _DATE_DIGITS]
    whole, eight = _total(dates), _total([each for each in dates if each.digits == 8])
    days, years = sum(each.days for each in dates), sum(each.years for each in dates)
    if whole < _FEWEST or whole < _total(parts) / 2 or days < _MOST_MONTHS * whole or (eight and years < eight / 2):
        return False
    return _highest(dates) - _lowest(dates) >= 2 * whole


def _lowest(parts: Sequence[_Parts]) -> int:
    return min(each.lowest for each in parts)


def _highest(parts: Sequence[_Parts]) -> int:
    return max(each.highest for each in parts)


def _sparse(parts: Sequence[_Parts]) -> bool:
    """Long numbers spread far wider than running numbers would be; without letters also numbers that start high."""
    long = [each for each in parts if each.digits >= _LONG_DIGITS]
    if _total(long) < max(1, _total(parts) / 5):
        return False
    if any(each.digits > _LONGEST_RUNNING for each in long):
        return True
    lettered = _total([each for each in long if each.before]) > _total(long) / 2
    lowest = _lowest(long) if lettered and _total(long) >= _FEWEST else 0
    return _highest(long) - lowest > max(_SPARSE * _total(parts), 10**_LONGEST_BARE - 1)


def _initialled(parts: Sequence[_Parts]) -> bool:
    """Two or three capitals that differ from id to id."""
    letters = [(each.before or each.after, each.ids) for each in parts]
    capitals = [(each, ids) for each, ids in letters if each.isupper() and 2 <= len(each) <= 3]
    initialled = sum(ids for _, ids in capitals)
    different = len({each for each, _ in capitals})
    return initialled >= max(_FEWEST, _total(parts) / 2) and different >= max(_FEWEST, initialled / 2)


class KnownIds:
    """A set of ids, blanks at their ends left out."""

    def __init__(self, texts: Sequence[str]) -> None:
        self._numbers: dict[str, np.ndarray] = {}
        self._others: set[str] = set()
        for group in _trimmed(shaped(texts)).groups():
            if _is_countable(group):
                self._numbers[group.shape] = group.numbers()
            else:
                self._others.update(group.texts)

    def hold(self, texts: Sequence[str]) -> np.ndarray:
        """(U,) whether each text is one of them, or several with ; between."""
        known = np.zeros(len(texts), dtype=bool)
        for group in shaped(texts).groups():
            several = ";" in group.shape or group.shape != group.shape.strip()
            known[group.places] = self._all_parts(group.texts) if several else self._among(group)
        return known

    def _among(self, group: Group) -> np.ndarray | list[bool]:
        if _is_countable(group):
            return np.isin(group.numbers(), self._numbers.get(group.shape, ()))
        return [text in self._others for text in group.texts]

    def _all_parts(self, texts: np.ndarray) -> np.ndarray:
        parts = [text.split(";") for text in texts]
        known = self.hold([part.strip() for each in parts for part in each])
        return np.logical_and.reduceat(known, np.cumsum([0, *map(len, parts[:-1])]))


def _is_countable(group: Group) -> bool:
    """Whether a text of a shape is known by the number that its digits make."""
    return group.shape.isascii() and group.digits <= MOST_DIGITS


def _trimmed(texts: Shaped) -> Shaped:
    if all(shape == shape.strip() for shape in texts.shapes):
        return texts
    return shaped([text.strip() for text in texts.texts])
