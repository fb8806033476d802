"""Dates, births and ages over 89 in a text. A year alone, a quarter (2026Q3) and a count of days are none."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from necrostats.registry.privacy.suspicions import Clue

FULL_DATE = Clue(kind="date", rule="a full calendar date", hard=True)
_PART = Clue(kind="date", rule="a day and month, or a month and year")
_BIRTH = Clue(kind="date", rule="a word for birth with a number", hard=True)
_AGE = Clue(kind="date", rule="an age over 89", hard=True)

_ABBREVIATED = (
    "jan|feb|mar|apr|jun|jul|aug|sep|sept|oct|okt|nov|dec|dez|dic|ene|abr|avr|fevr|juin|juil|janv|mai|maj|giu|lug"
)
_SPELT = (
    "january|february|march|april|june|july|august|september|october|november|december|januar|februar|marz|maerz|juni|"
    "juli|oktober|dezember|janvier|fevrier|mars|avril|juillet|aout|septembre|octobre|novembre|decembre|enero|febrero|"
    "marzo|abril|mayo|junio|julio|agosto|septiembre|octubre|noviembre|diciembre|gennaio|febbraio|aprile|maggio|giugno|"
    "luglio|settembre|ottobre|dicembre|januari|februari|maart|mei|augustus|december|fevereiro|marco|maio|setembro|"
    "outubro|novembro|dezembro"
)
_MONTH = rf"(?:{_SPELT}|{_ABBREVIATED}|(?-i:May|MAY))"
_WEEKDAY = (
    r"(?:mon|tues|wednes|thurs|fri|satur|sun)day|mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun|montag|dienstag|mittwoch|"
    r"donnerstag|freitag|samstag|sonntag|lundi|mardi|mercredi|jeudi|vendredi|samedi|dimanche|lunes|martes|miercoles|"
    r"jueves|viernes|sabado|domingo"
)
_UNIT = r"(?! ?(?:mm|cm|ml|cc|fr|g|mg|min|h|%)\b)"
_FIGURES = re.compile(
    r"(?<![\d.,/\-])(\d{1,2}) ?([./\-]) ?(\d{1,2}) ?\2 ?((?:18|19|20)\d{2}|'?\d{2})(?!\d|"
    r"[./\-]\d)" + _UNIT, re.IGNORECASE
)
_YEAR_FIRST = re.compile(
    r"(?<![\d.])(?:18|19|20)\d{2} ?([-/.年]) ?(?:0?[1-9]|1[0-2]) ?[-/.月] ?(?:0?[1-9]|[12]\d|3[01])(?!\d)"
)
_COMPACT = re.compile(r"(?<![\d.,])(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])(?:[T ]?\d{4,6})?(?!\d|"
                    r"[.,]\d)")
_IN_WORDS = re.compile(
    rf"\b\d{{1,2}}(?:st|nd|rd|th|\.|er)?[ \-/]?(?:of |de |di )?{_MONTH}\b\.?,?[ \-/]{{0,2}}(?:de |di )?"
    rf"(?:(?:19|20)\d{{2}}|'?\d{{2}})\b{_UNIT}"
    rf"|\b{_MONTH}\.? \d{{1,2}}(?:st|nd|rd|th)?,? (?:19|20)\d{{2}}\b",
    re.IGNORECASE,
)
_FIGURED_MONTH = r"(?<![\d./\-])(?:0?[1-9]|1[0-2])[/\-](?:19|20)\d{2}(?![\d/\-])"
_MONTH_AND_YEAR = re.compile(_FIGURED_MONTH)
_PARTS = re.compile(
    rf"\b\d{{1,2}}(?:st|nd|rd|th|\.|er)?[ \-/]?(?:of |de )?{_MONTH}\b"
    rf"|\b{_MONTH}\b\.?[ \-/](?:the )?(?:\d{{1,2}}(?:st|nd|rd|th)?|'?\d{{2}}|(?:19|20)\d{{2}})\b{_UNIT}"
    rf"|\b(?:{_WEEKDAY})\b,? (?:the |den |le )?\d{{1,2}}(?:st|nd|rd|th|[./]\d{{1,2}}|\.?)(?![\w:]){_UNIT}"
    rf"|{_FIGURED_MONTH}"
    r"|\b(?:on|dated?|since|vom|seit|am|du|depuis) (?:the )?(?:\d{1,2}/(?!52|7\b)\d{1,2}(?![\d/])|"
    r"\d{1,2}\.\d{1,2}\.(?!\d))"
    r"|\b(?:rv|review|f/?u|clinic|due|booked|admitted|session) (on )?(?:1[3-9]|2\d|3[01])/(?:0?[1-689]|1[01])(?![\d/])"
    r"|\b(?:on|since|until) the \d{1,2}(?:st|nd|rd|th)\b"
    r"|\b\d{1,2}(?:st|nd|rd|th) of (?:this|last|next) month\b",
    re.IGNORECASE,
)
_BIRTHS = re.compile(
    r"\b(?:d\.?o\.?b|date of birth|birth ?date|birthday|born|geb|geboren|geburtsdatum|nee? le|nato(?: il)?|"
    r"nata(?: il)?|"
    r"nacid[oa](?: el)?|fodt|fodd|geb\.datum)\b[^a-z\d]{0,4}(?:(?:on|in|is|am|:) )?[^a-z\d]{0,3}\d",
    re.IGNORECASE,
)
_AGES = re.compile(
    r"\b(?:9\d|1[01]\d)[ \-]?(?:y/?o|y\.o\.?|(?:years?|yrs?)[ \-]?old|(?:years|yrs) of age|jahrige[rn]?|jahre alt|"
    r"ans|anos|"
    r"anni)\b|\b(?:aged?|alter)[ :=]{1,3}(?:9\d|1[01]\d)\b(?! ?(?:days|weeks|months))",
    re.IGNORECASE,
)
_LETTERS = re.compile("[a-z]+")
_DAYS = re.findall("[a-z]+", re.sub(r"\(\?:(.*?)\)day", lambda each: each[1].replace("|", "day|") + "day", _WEEKDAY))
_CUES = "rv|review|f|fu|clinic|due|booked|admitted|session|may|on|date|dated|since|vom|seit|am|du|depuis|until|of"
_WORDS_OF_DATES = frozenset((*f"{_SPELT}|{_ABBREVIATED}|{_CUES}".split("|"), *_DAYS))


def _has_word_of_a_date(text: str) -> bool:
    return not _WORDS_OF_DATES.isdisjoint(_LETTERS.findall(text.casefold()))


def clues_in_dates(text: str, *, dates_belong: bool) -> Iterator[Clue]:
    """The clues of date elements in a folded text; in a declared date column only births and ages remain."""
    if not any(digit in text for digit in "0123456789"):
        return
    if _BIRTHS.search(text):
        yield _BIRTH
    if _AGES.search(text):
        yield _AGE
    if dates_belong:
        return
    if has_full_date(text):
        yield FULL_DATE
    elif (_MONTH_AND_YEAR.search(text) or _has_word_of_a_date(text)) and _PARTS.search(text):
        yield _PART


def has_full_date(text: str) -> bool:
    """Whether a folded text names a day of a year."""
    if any(_possible(found) for found in _FIGURES.finditer(text)):
        return True
    if _YEAR_FIRST.search(text) or _COMPACT.search(text):
        return True
    return _has_word_of_a_date(text) and _IN_WORDS.search(text) is not None


def are_compact_dates(numbers: np.ndarray) -> np.ndarray:
    """Which numbers (n,) of eight digits each name a day of a year when written in one (20240312)."""
    years, months, days = numbers // 10_000, numbers // 100 % 100, numbers % 100
    return (years >= 1900) & (years < 2100) & (months >= 1) & (months <= 12) & (days >= 1) & (days <= 31)


def without_dates(text: str) -> str:
    """A folded text with its full dates blanked, so that their digits are not taken for other numbers."""
    text = _FIGURES.sub(lambda found: " ; " if _possible(found) else found[0], text)
    for pattern in (_YEAR_FIRST, _COMPACT, _IN_WORDS):
        text = pattern.sub(" ; ", text)
    return text


def _possible(found: re.Match[str]) -> bool:
    first, second = int(found[1]), int(found[3])
    smaller, larger = sorted((first, second))
    return larger <= (31 if 0 < smaller <= 12 else 12 if smaller == 0 else 0)
