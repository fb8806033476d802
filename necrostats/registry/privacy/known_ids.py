"""The ids that a table holds, kept as a shape and whole numbers: a fraction of the room that their texts would take."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from necrostats.registry.shapes import MOST_DIGITS, Group, Shaped, shaped


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
