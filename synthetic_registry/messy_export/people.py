"""Five people who typed, each with habits of their own, and the decks from which the mess is dealt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Person:
    """How one person writes a date, an unknown, a word and a list of instruments."""

    name: str
    date: str
    blank: str
    case: str
    joiner: str


PEOPLE = (
    Person(name="A", date="real", blank="", case="lower", joiner="+"),
    Person(name="B", date="slashes", blank="-", case="title", joiner=", then "),
    Person(name="C", date="dots", blank="n/a", case="lower", joiner=" and "),
    Person(name="D", date="real short", blank="?", case="upper", joiner=" + "),
    Person(name="E", date="iso", blank="not recorded", case="lower", joiner="; "),
)
BLANKS = ("-", "—", "n/a", "NA", "NULL", "NaN", ".", "?", "unk", "not recorded")


class Pen:
    """Deals forms out of shuffled decks, so that each turns up as often as it lies in its deck."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self._decks: dict[str, list[object]] = {}

    def deal(self, name: str, deck: Sequence[T]) -> T:
        """The next card of the deck of that name, shuffled again when it is used up."""
        left = self._decks.get(name)
        if not left:
            left = [deck[int(place)] for place in self.rng.permutation(len(deck))]
            self._decks[name] = left
        return left.pop()  # type: ignore[return-value]

    def chance(self, share: float) -> bool:
        """True with this probability."""
        return bool(self.rng.random() < share)


def weighted(**cards: int) -> tuple[str, ...]:
    """A deck that holds each card so many times; underscores in names stand for blanks."""
    return tuple(name.replace("_", " ") for name, times in cards.items() for _ in range(times))


def cased(word: str, person: Person) -> str:
    """The word as this person writes it."""
    return {"title": word.capitalize(), "upper": word.upper()}.get(person.case, word)
