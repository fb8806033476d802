"""A text as words, numbers and signs that can be compared: whatever was typed, the same thing is the same token."""

from __future__ import annotations

import re
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


_END = re.compile(r"(?<=[.!?])[\"')\]]*\s+(?=[\"'(\[]?[A-Z0-9])")


def sentences(text: str) -> list[str]:
    """The sentences of a text."""
    return [part for part in _END.split(" ".join(text.split())) if part.strip()]
