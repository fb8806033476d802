"""The privacy check of a column in its plain form, every text looked at by itself: what the quick form must equal."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from necrostats.registry.privacy import columns, ids
from necrostats.registry.privacy.columns import KnownWords, clues_in
from necrostats.registry.privacy.headings import (
    asks_for_a_person,
    heading_clue,
    is_date_heading,
    is_id_heading,
    is_operator_heading,
    may_head_study_codes,
)
from necrostats.registry.privacy.names import OPERATOR, is_pseudonym
from necrostats.registry.privacy.numbers import LONG_NUMBER, is_birthday
from necrostats.registry.privacy.suspicions import Clue
from necrostats.registry.text import fold

_BLANKS = ("", "-", "—", "n/a", "na", "null", "nan", ".", "?", "unk", "none", "unknown", "nil")
_CODE = re.compile(r"([A-Za-z]*)[-_ /.]?(\d+)[-_ /.]?([A-Za-z]*)")
_STUDY_CODE = re.compile(r"[A-Za-z]{0,12}[-_ /.#]?\d{1,9}(?:[-_ /.][A-Za-z]{0,4}\d{0,5}){0,3}[a-z]?")


@dataclass(frozen=True, kw_only=True)
class Said:
    """A clue over a column, or in the rows given."""

    clue: Clue
    rows: tuple[int, ...] | None = None


def hits_text_by_text(heading: str, cells: Sequence[str], role: columns.Role, known: KnownWords) -> list[Said]:
    """Every hit in a column of cells, in the order in which they are found."""
    texts = list(dict.fromkeys(cells))
    filled = [text for text in texts if not _is_blank(text)]
    if not filled:
        return []
    whole = dict.fromkeys(() if role.accepted else _about_the_whole(heading, filled, role))
    found = _clues_by_text(heading, filled, role, known)
    in_cells = _in_cells({clue: bad for clue, bad in found.items() if clue not in whole}, cells, bool(whole))
    return [*(Said(clue=clue) for clue in whole), *in_cells]


def _is_blank(text: str) -> bool:
    return text.strip().casefold() in _BLANKS


def _in_cells(found: dict[Clue, set[str]], cells: Sequence[str], refused: bool) -> Iterator[Said]:
    filled = sum(not _is_blank(cell) for cell in cells)
    for clue, bad in found.items():
        rows = tuple(row for row, cell in enumerate(cells) if cell in bad)
        if len(rows) > columns.MOST_CELLS or (len(rows) >= 3 and len(rows) >= 0.2 * filled):
            yield Said(clue=clue)
        elif not refused:
            yield Said(clue=clue, rows=rows)


def _about_the_whole(heading: str, filled: list[str], role: columns.Role) -> Iterator[Clue]:
    clue = None if role.periods else heading_clue(heading)
    codes = sum(study_codes_text_by_text([text]) for text in filled)
    if clue and not (role.ids and may_head_study_codes(heading) and codes >= ids.MOSTLY * len(filled)):
        yield clue
    if role.ids or is_id_heading(heading):
        yield from ids_text_by_text(filled)
    if is_date_heading(heading) and not role.dates and _are_serial_dates(filled):
        yield Clue(kind="date", rule="dates in a column that is not declared as a date column", hard=True)


def _are_serial_dates(filled: list[str]) -> bool:
    heads = [text.strip().split(".")[0] for text in filled if len(text) <= 16]
    return sum(head.isdecimal() and 15_000 <= int(head) < 60_000 for head in heads) > len(filled) / 2


def _clues_by_text(heading: str, filled: list[str], role: columns.Role, known: KnownWords) -> dict[Clue, set[str]]:
    found: dict[Clue, set[str]] = {}
    for text in filled:
        clues = list(clues_in(text, dates_belong=role.dates))
        if known.are_all_of(text):
            clues = [clue for clue in clues if clue.hard]
        if (role.operators or is_operator_heading(heading)) and not role.accepted and not is_pseudonym(fold(text)):
            clues.append(OPERATOR)
        if asks_for_a_person(heading) and not study_codes_text_by_text([text]):
            clues.append(ids.NOT_CODES)
        if (role.ids or is_id_heading(heading)) and text[:1].isalpha():
            clues = [clue for clue in clues if clue is not LONG_NUMBER]
        for clue in clues:
            if clue.hard or not role.accepted:
                found.setdefault(clue, set()).add(text)
    return found


def study_codes_text_by_text(texts: Sequence[str]) -> bool:
    """Whether every text is a short code."""
    return all(_STUDY_CODE.fullmatch(fold(text)) for text in texts)


def ids_text_by_text(texts: Sequence[str]) -> tuple[Clue, ...]:
    """The clues in ids taken together."""
    codes = [code for text in texts if (code := _CODE.fullmatch(fold(text)))]
    digits = [code[2] for code in codes]
    letters = [code[1] or code[3] for code in codes]
    rules = (
        (_dated(digits), "ids that hold a date"),
        (_sparse(digits, [code[1] for code in codes]), "ids that look like record numbers, not running study codes"),
        (_initialled(letters), "ids that begin or end with initials"),
    )
    return tuple(Clue(kind=_KINDS[rule], rule=rule) for holds, rule in rules if holds)


_KINDS = {
    "ids that hold a date": "date",
    "ids that look like record numbers, not running study codes": "record_number",
    "ids that begin or end with initials": "name",
}


def _dated(digits: list[str]) -> bool:
    six = [each for each in digits if len(each) == 6]
    eight = [each for each in digits if len(each) == 8]
    shortened = [each[2:] if each.startswith(("19", "20")) else each[:4] + each[6:] for each in eight]
    days = sum(map(is_birthday, (*six, *shortened)))
    years = sum(each.startswith(("19", "20")) or each[4:6] in ("19", "20") for each in eight)
    numbers = [int(each) for each in (*six, *eight)]
    if len(numbers) < max(3, len(digits) / 2) or days < 0.8 * len(numbers) or years < len(eight) / 2:
        return False
    return max(numbers) - min(numbers) >= 2 * len(numbers)


def _sparse(digits: list[str], before: list[str]) -> bool:
    long = [(each, lead) for each, lead in zip(digits, before, strict=True) if len(each) >= 6]
    if len(long) < max(1, len(digits) / 5):
        return False
    if any(len(each) > 18 for each, _ in long):
        return True
    numbers = np.array([int(each) for each, _ in long])
    lettered = sum(bool(lead) for _, lead in long) > len(long) / 2
    lowest = numbers.min() if lettered and len(long) >= 3 else 0
    return bool(numbers.max() - lowest > max(50 * len(digits), 99_999))


def _initialled(letters: list[str]) -> bool:
    capitals = [each for each in letters if re.fullmatch("[A-Z]{2,3}", each)]
    return len(capitals) >= max(3, len(letters) / 2) and len(set(capitals)) >= max(3, len(capitals) / 2)
