"""Cells that should hold a date: the date, beside it a word that says yes or no, and a count of days."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace

from necrostats.registry.days import NO_ORDER, NO_SYSTEM, DateRange, read_date
from necrostats.registry.export.cells import BLANK, DATE, RawCell, Reading, refused
from necrostats.registry.export.layout import ColumnLayout
from necrostats.registry.text import folded
from necrostats.registry.words import known_words

_WHAT_TO_DO = {
    NO_ORDER: 'Write order = "day_first" or "month_first" under [dates] in the layout, or beside the column.',
    NO_SYSTEM: 'Write system = "1900" or "1904" under [dates] in the layout, or beside the column.',
}
_CORRECT = "Correct the date."
_A_WORD = (
    "Write the date. A word that says that there is none, or that it is not known, can be listed beside the column: "
    'codes = { "no" = "" }.'
)
_A_WORD_BESIDE = (
    "Correct it. A word beside a date that only says that there is one can be listed beside the column: "
    'codes = { "done" = "yes" }.'
)
_BESIDE = re.compile(
    r"(?P<before>[^\W\d_]+)[\s,:;(.]+(?P<then>[^)]+)\)?|(?P<first>[^(]+?)[\s,;(]+(?P<after>[^\W\d_]+)\)?"
)


def read_dated(cell: RawCell, column: ColumnLayout, system: str) -> Reading:
    """A date, also one with a word beside it that says yes: "sì 12/11/23"; with one that says no it is set aside."""
    found = _read(cell, column, system)
    if not found.problem or not isinstance(cell.typed, str):
        return _reading(found, cell.text)
    answers = known_words("answer", ("yes", "no"), {word: code for word, code in column.codes.items() if code})
    if folded(cell.text) in answers:
        return _alone(folded(cell.text), answers, column)
    answer, rest = _parted(cell.text.strip(), answers)
    beside = _read(RawCell(text=rest), column, system) if answer else found
    if answer == "no" and beside.known:
        return _refused("says no, and gives a date", "Take one of them away.")
    return _reading(beside, cell.text)


def _read(cell: RawCell, column: ColumnLayout, system: str) -> DateRange:
    return read_date(cell.typed, day_first=column.day_first, date_system=system or None, shown_as=cell.shown_as)


def _reading(found: DateRange, text: str) -> Reading:
    if found.problem:
        return _refused(found.problem, _WHAT_TO_DO.get(found.problem) or _remedy(text))
    if not found.known:
        return Reading(rule=found.rule)
    code = "DAY_UNKNOWN" if found.note else "NOT_READ"
    return Reading(rule=found.rule, date=found, question=found.question, note=found.note, code=code, withheld=DATE)


def _remedy(text: str) -> str:
    if not re.search(r"\d", text):
        return _A_WORD
    return _A_WORD_BESIDE if re.search(r"[^\W\d_]{2}", text) else _CORRECT


def _refused(problem: str, remedy: str) -> Reading:
    return replace(refused(problem, "NOT_A_DATE"), remedy=remedy, withheld=DATE)


def _alone(word: str, answers: Mapping[str, str], column: ColumnLayout) -> Reading:
    """A bare answer: a no that the layout lists is no date; any other is no answer to when."""
    if answers[word] == "no" and word in column.own_codes:
        return BLANK
    return _refused(f"says {answers[word]}, and gives no date", _A_WORD)


def _parted(text: str, answers: Mapping[str, str]) -> tuple[str, str]:
    """The answer that the first or last word of a text gives, and the rest; blank if neither does."""
    found = _BESIDE.fullmatch(text)
    if found is None:
        return "", ""
    word, rest = (found["before"], found["then"]) if found["before"] else (found["after"], found["first"])
    return answers.get(folded(word), ""), rest.strip()
