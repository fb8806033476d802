"""Invented identifiers planted one by one in invented exports, to count what the privacy check misses."""

from __future__ import annotations

from dataclasses import dataclass

from builders.identifier_phrasings import Phrasings
from builders.invented_identifiers import Invented


@dataclass(frozen=True, kw_only=True)
class Planted:
    """One identifier: its kind, the heading it stands under ("" = among the remarks) and the text."""

    kind: str
    heading: str
    text: str


def planted(phrasings: Phrasings, *, count: int, seed: int) -> list[Planted]:
    """`count` identifiers, the kinds and phrasings in turn."""
    invented = Invented(seed)
    every = [(kind, phrase) for kind, phrases in phrasings.items() for phrase in phrases]
    made = []
    for number in range(count):
        kind, phrase = every[number % len(every)]
        heading, text = phrase(invented)
        made.append(Planted(kind=kind, heading=heading, text=text))
    return made
