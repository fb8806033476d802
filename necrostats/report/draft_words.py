"""A text as words, numbers and signs that can be compared: whatever was typed, the same thing is the same token."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from necrostats.present.bound import NUMBER, number_in

_BLANKS = re.compile("[\u00a0\u2000-\u200a\u202f\u205f\u3000]")
_TOKEN = re.compile(
    rf"(?P<skip>\b(?:tables?|figures?|figs?\.?|ref\.?|refs\.?|version|doi|appendix)\s*[S#]?\d[\d.,–-]*[A-Za-z]?|\[\d[\d,;–\s-]*\])"
    rf"|(?P<number>{NUMBER.pattern})|(?P<sign>[%–])|(?P<word>[^\W\d_]+(?:[-'’][^\W\d_]+)*)",
    re.IGNORECASE,
)
UNITS = {
    "patient": "patients",
    "patients": "patients",
    "case": "patients",
    "cases": "patients",
    "session": "sessions",
    "sessions": "sessions",
    "procedure": "sessions",
    "procedures": "sessions",
    "necrosectomy": "necrosectomies",
    "necrosectomies": "necrosectomies",
    "collection": "collections",
    "collections": "collections",
    "event": "events",
    "events": "events",
    "day": "days",
    "days": "days",
    "week": "weeks",
    "weeks": "weeks",
    "month": "months",
    "months": "months",
    "year": "years",
    "years": "years",
    "patient-days": "patient-days",
    "stent-days": "stent-days",
    "mm": "mm",
    "cm": "cm",
    "ml": "ml",
    "l": "l",
    "g": "g",
    "rows": "rows",
}
"""What is counted or measured, by each word for it."""

OUTCOMES = {
    "resolution": "resolution",
    "resolved": "resolution",
    "died": "death",
    "death": "death",
    "deaths": "death",
    "surgery": "surgery",
    "percutaneous": "percutaneous drain",
    "recurrence": "recurrence",
    "recurrences": "recurrence",
    "median": "median",
    "mean": "mean",
}


@dataclass(frozen=True, kw_only=True)
class Token:
    """A word, a sign or a number; `same` is what it is compared by, all numbers alike ("#")."""

    text: str
    same: str
    value: float | None = None
    decimals: int = 0

    @property
    def is_number(self) -> bool:
        """Whether it is a number."""
        return self.value is not None


def straightened(text: str) -> str:
    """A text with plain blanks, dashes, quotes and decimal points."""
    plain = _BLANKS.sub(" ", text).replace("\u2011", "-").replace("’", "'")
    plain = re.sub(r"(?<=\d)\s*[-‐‒–—]\s*(?=\d)", "–", plain)
    plain = re.sub(r"(?<=\d)[·∙⋅](?=\d)", ".", plain)
    return re.sub(r"(?<=\d)\s+(?=%)", "", plain)


@lru_cache(maxsize=65536)
def tokens(text: str) -> tuple[Token, ...]:
    """The tokens of a text in order; numbers of tables, figures and references are passed over."""
    found = []
    for match in _TOKEN.finditer(straightened(text)):
        if match["number"]:
            printed = match["number"]
            decimals = len(printed.partition(".")[2])
            found.append(Token(text=printed, same="#", value=number_in(printed), decimals=decimals))
        elif match["sign"] or match["word"]:
            word = (match["sign"] or match["word"]).lower()
            found.append(Token(text=match[0], same="to" if word == "–" else word))
    return tuple(found)


_OF_FIGURES = frozenset(("#", "%", "to", "of", "ci", "a", "the", "and", "in", "by", "with"))


def content(said: Sequence[Token]) -> tuple[str, ...]:
    """The words that say what a text is about, without those that go with any figure."""
    return tuple(token.same for token in said if token.same not in _OF_FIGURES)


_END = re.compile(r"(?<=[.!?])[\"')\]]*\s+(?=[\"'(\[]?[A-Z0-9])")


def sentences(text: str) -> list[str]:
    """The sentences of a text."""
    return [part for part in _END.split(" ".join(text.split())) if part.strip()]


@dataclass(frozen=True, kw_only=True)
class Fraction:
    """Where "k of n" stands, and the share and its limits where they follow: places among tokens, -1 for none."""

    n: int
    share: int = -1
    low: int = -1
    high: int = -1

    @property
    def places(self) -> set[int]:
        """All places but those of k and of what is not there."""
        return {place for place in (self.n, self.share, self.low, self.high) if place >= 0}


_BETWEEN = frozenset(
    ("patients", "sessions", "patient", "session", "of", "the", "ci", "%", "to", "confidence", "interval")
)


def fraction(said: Sequence[Token], place: int) -> Fraction | None:
    """The fraction whose k stands at a place, with "(35 %, 95 % CI 28–44 %)" after it or a part of that; else none."""
    if place + 2 >= len(said) or said[place].decimals or said[place + 1].same != "of" or not said[place + 2].is_number:
        return None
    numbers = []
    for at in range(place + 3, min(place + 18, len(said))):
        if said[at].is_number:
            numbers.append(at)
        elif said[at].same not in _BETWEEN:
            break
    share, *rest = numbers if numbers and _is_percent(said, numbers[0]) else [-1]
    if rest and _is_percent(said, rest[0]) and rest[0] + 2 < len(said) and said[rest[0] + 2].same == "ci":
        rest = rest[1:]
    limits = rest[:2] if len(rest) > 1 and rest[1] == rest[0] + 2 and said[rest[0] + 1].same == "to" else [-1, -1]
    return Fraction(n=place + 2, share=share, low=limits[0], high=limits[1])


def _is_percent(said: Sequence[Token], place: int) -> bool:
    return place + 1 < len(said) and said[place + 1].same == "%"
