"""Drafts of an abstract with one error planted in each, and clean drafts as authors rewrite them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from necrostats.present.bound import NUMBER

BACKGROUND = "Walled-off necrosis follows 5–10 % of attacks, and 1 in 3 patients had infection in 2019 [1, 2]."
CONCLUSION = "Most courses ended in resolution; the intervals leave room for chance."
_COUNTS = re.compile(rf"({NUMBER.pattern}) of ({NUMBER.pattern})(?= )")
_LIMITS = re.compile(r"(\d[\d.]*)(–)(\d[\d.]*)")
_UNIT = re.compile(r"\b(patients|sessions|days|necrosectomies|years)\b")
_OTHER = {
    "patients": "sessions",
    "sessions": "patients",
    "days": "weeks",
    "necrosectomies": "patients",
    "years": "months",
}


@dataclass(frozen=True, kw_only=True)
class Planted:
    """A draft, and what is wrong in it ("" in a clean one)."""

    text: str
    kind: str
    was: str = ""
    became: str = ""


def with_own_words(text: str) -> str:
    """An abstract whose author has written background and conclusion."""
    own = re.sub(r"\\?\[For the author: why[^\]]*\]", lambda _: BACKGROUND, text)
    return re.sub(r"\\?\[For the author: what[^\]]*\]", lambda _: CONCLUSION, own)


def planted(text: str, seed: int, *, groups: tuple[str, ...] = ()) -> Iterator[Planted]:
    """Endless drafts with one error each, of every kind in turn that the text has room for."""
    draw = np.random.default_rng(seed)
    start, end = text.index("Methods"), text.index("Conclusion")
    kinds: dict[str, Callable[[str, np.random.Generator], tuple[str, str, str] | None]] = {
        "digit": _digit,
        "k": lambda part, d: _count(part, d, 0),
        "n": lambda part, d: _count(part, d, 1),
        "k and n swapped": _swapped_counts,
        "limit": _limit,
        "limits swapped": _swapped_limits,
        "unit": _unit,
        "day": _day,
        "groups swapped": lambda part, d: _groups(part, d, groups),
    }
    while True:
        for kind, damage in kinds.items():
            done = damage(text[start:end], draw)
            if done:
                part, was, became = done
                yield Planted(text=text[:start] + part + text[end:], kind=kind, was=was, became=became)


def rewritten(text: str, seed: int) -> Planted:
    """A clean draft: signs, blanks, words and order of sentences changed as authors do, and no number."""
    draw = np.random.default_rng(seed)
    changes = (
        lambda each: re.sub(r"(?<=\d) %", "%", each),
        lambda each: re.sub(r"(?<=\d) %", "\u00a0%", each),
        lambda each: each.replace("–", "-"),
        lambda each: re.sub(r"(?<=\d)–(?=\d)", " to ", each),
        lambda each: each.replace("had documented resolution", "were resolved"),
        lambda each: each.replace("In all, ", "Overall, ").replace("while followed", "during follow-up"),
        lambda each: each.replace("were followed by one", "led to one"),
        lambda each: each.replace("Case series from a registry", "We report a case series from our registry"),
        lambda each: re.sub(r"Intervals \(CI\)[^.]*\. ?", "", each),
        lambda each: each.replace("; median", ", with a median of"),
        lambda each: re.sub(r"(?<=\d)\.(?=\d)", "·", each),
    )
    for place in np.flatnonzero(draw.random(len(changes)) < 0.4):
        text = changes[place](text)
    return Planted(text=text, kind="")


def _put(part: str, start: int, end: int, new: str) -> tuple[str, str, str]:
    return part[:start] + new + part[end:], part[start:end], new


def _one(pattern: re.Pattern[str], part: str, draw: np.random.Generator) -> re.Match[str] | None:
    found = list(pattern.finditer(part))
    return found[draw.integers(len(found))] if found else None


def _another(printed: str, draw: np.random.Generator) -> str:
    """The same number with one digit changed, never to a leading zero."""
    digits = [place for place, sign in enumerate(printed) if sign.isdigit()]
    place = digits[draw.integers(len(digits))]
    least = 1 if place == digits[0] and len(digits) > 1 else 0
    others = [str(each) for each in range(least, 10) if str(each) != printed[place]]
    return printed[:place] + others[draw.integers(len(others))] + printed[place + 1 :]


def _digit(part, draw):
    found = _one(NUMBER, part, draw)
    return _put(part, *found.span(), _another(found[0], draw))


def _count(part, draw, which: int):
    found = _one(_COUNTS, part, draw)
    return found and _put(part, *found.span(which + 1), _another(found[which + 1], draw))


def _swapped_counts(part, draw):
    found = _one(_COUNTS, part, draw)
    if not found or found[1] == found[2]:
        return None
    return _put(part, *found.span(), f"{found[2]} of {found[1]}")


def _limit(part, draw):
    found = _one(_LIMITS, part, draw)
    side = (1, 3)[draw.integers(2)]
    return found and _put(part, *found.span(side), _another(found[side], draw))


def _swapped_limits(part, draw):
    found = _one(_LIMITS, part, draw)
    return found and _put(part, *found.span(), f"{found[3]}–{found[1]}")


def _unit(part, draw):
    found = _one(_UNIT, part, draw)
    return found and _put(part, *found.span(), _OTHER[found[0]])


def _day(part, draw):
    found = _one(re.compile(r"(?<=day )\d+|\d+(?= days)"), part, draw)
    return found and _put(part, *found.span(), str({"90": 60, "180": 90, "30": 14}.get(found[0], 7)))


def _groups(part, draw, groups):
    there = [each for each in groups if re.search(rf"[:;] {each}: ", part)]
    if len(there) < 2:
        return None
    one, two = (there[place] for place in draw.permutation(len(there))[:2])
    swapped = re.sub(rf"(?<=[:;] )({one}|{two}): ", lambda found: f"{two if found[1] == one else one}: ", part)
    return swapped, f"{one}, {two}", f"{two}, {one}"
