"""Words that a layout lists: a person has looked at them, and a cell made of nothing else names nobody."""

from __future__ import annotations

import re
from collections.abc import Collection

from necrostats.registry.privacy.dates import has_part, may_be_age
from necrostats.registry.shapes import shape_of
from necrostats.registry.text import fold

_BETWEEN = re.compile(r"->|[^\w\s'-]|\b(?:and|then|with|followed by)\b|\b[x×]? ?\d{1,2}(?: ?x)?\b")


class KnownWords:
    """Words and phrases, whatever their case, accents and blanks."""

    def __init__(self, words: Collection[str]) -> None:
        self._words = frozenset(fold(word).casefold() for word in words) - {""}
        self._shapes = frozenset(map(shape_of, self._words))

    def are_all_of(self, text: str) -> bool:
        """Whether a text is one of them, or several with separators and small counts between, no age or day."""
        if not _are_all_of(text, self._words):
            return False
        folded = fold(text)
        return folded.casefold() in self._words or not (may_be_age(folded) or has_part(folded))

    def may_be_all_of(self, shape: str) -> bool:
        """Whether they can be all of a text of this shape."""
        return _are_all_of(shape, self._shapes)


def _are_all_of(text: str, words: frozenset[str]) -> bool:
    if not words:
        return False
    bare = fold(text).casefold()
    if bare in words:
        return True
    pieces = [piece.strip() for piece in _BETWEEN.split(bare)]
    return any(pieces) and all(piece in words for piece in pieces if piece)
