"""Columns of ids as a whole: running study codes pass; record numbers, dates and initials inside ids do not."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from necrostats.registry.privacy.check_digits import is_birthday
from necrostats.registry.privacy.folding import fold
from necrostats.registry.privacy.suspicions import Clue

_NUMBERS = Clue(kind="record_number", rule="ids that look like record numbers, not running study codes")
_DATES = Clue(kind="date", rule="ids that hold a date")
_INITIALS = Clue(kind="name", rule="ids that begin or end with initials")
_WORDS = Clue(kind="name", rule="a heading fit for study codes over other things")

_CODE = re.compile(r"([A-Za-z]*)[-_ /.]?(\d+)[-_ /.]?([A-Za-z]*)")
_STUDY_CODE = re.compile(r"[A-Za-z]{0,12}[-_ /.#]?\d{1,9}(?:[-_ /.][A-Za-z]{0,4}\d{0,5}){0,3}[a-z]?")
_LONG_DIGITS = 6
_LONGEST_RUNNING = 18
_LONGEST_BARE = 5
_SPARSE = 50
_MOST_MONTHS = 0.8
_FEWEST = 3


@dataclass(frozen=True, kw_only=True)
class _Parts:
    before: str
    digits: str
    after: str


def clues_in_ids(texts: Sequence[str]) -> tuple[Clue, ...]:
    """The clues in the distinct ids of a column, taken together."""
    found = [_CODE.fullmatch(fold(text)) for text in texts]
    parts = [_Parts(before=each[1], digits=each[2], after=each[3]) for each in found if each]
    rules = ((_dated, _DATES), (_sparse, _NUMBERS), (_initialled, _INITIALS))
    return tuple(clue for rule, clue in rules if rule(parts))


def are_study_codes(texts: Sequence[str]) -> bool:
    """Whether every text is a short code such as P001, 17 or WON-12."""
    return all(_STUDY_CODE.fullmatch(fold(text)) for text in texts)


NOT_CODES = _WORDS


def _dated(parts: Sequence[_Parts]) -> bool:
    """Most of the six or eight digits make a day of the calendar, which running numbers do not."""
    six = [each.digits for each in parts if len(each.digits) == 6]
    eight = [each.digits for each in parts if len(each.digits) == 8]
    shortened = [year for each in eight for year in ([each[2:]] if each[:2] in ("19", "20") else [each[:4] + each[6:]])]
    days = sum(map(is_birthday, (*six, *shortened)))
    years = sum(bool(re.match("19|20", each) or re.match("19|20", each[4:])) for each in eight)
    whole = len(six) + len(eight)
    if whole < _FEWEST or whole < len(parts) / 2 or days < _MOST_MONTHS * whole or (eight and years < len(eight) / 2):
        return False
    return not _run_on([int(each) for each in (*six, *eight)])


def _run_on(numbers: Sequence[int]) -> bool:
    return max(numbers) - min(numbers) < 2 * len(numbers)


def _sparse(parts: Sequence[_Parts]) -> bool:
    """Long numbers spread far wider than running numbers would be; without letters also numbers that start high."""
    long = [each for each in parts if len(each.digits) >= _LONG_DIGITS]
    if len(long) < max(1, len(parts) / 5):
        return False
    if any(len(each.digits) > _LONGEST_RUNNING for each in long):
        return True
    numbers = [int(each.digits) for each in long]
    lettered = sum(bool(each.before) for each in long) > len(long) / 2
    lowest = min(numbers) if lettered and len(numbers) >= _FEWEST else 0
    return max(numbers) - lowest > max(_SPARSE * len(parts), 10**_LONGEST_BARE - 1)


def _initialled(parts: Sequence[_Parts]) -> bool:
    """Two or three capitals that differ from id to id."""
    letters = [each.before or each.after for each in parts]
    capitals = [each for each in letters if each.isupper() and 2 <= len(each) <= 3]
    return len(capitals) >= max(_FEWEST, len(parts) / 2) and len(set(capitals)) >= max(_FEWEST, len(capitals) / 2)
