"""A cell that feeds several targets: each takes the part that it knows, and what none of them knows is said.

A word counts for every target whose own `codes` list it; else for the one target whose code it is, or that knows it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import BLANK, Reading, refused
from necrostats.registry.export.compound_cells import any_of
from necrostats.registry.export.layout import ColumnLayout, home
from necrostats.registry.text import folded, is_blank
from necrostats.registry.words import known_words

_APART = re.compile(rf"\s*[,;+&\n]\s*|\s+(?:and|{any_of('and')})\s+")
_SCALES = {
    "agree_grade": re.compile(r"(?:agree\s*)?(?:grade|grad|stage)?\s*"),
    "clavien_grade": re.compile(r"(?:clavien(?:[ -]dindo)?|cd)?\s*(?:grade|grad)?\s*"),
    "asge_severity": re.compile(r"(?:asge)?\s*"),
}


def without_scale(text: str, column: str) -> str:
    """A grade, folded, without the name of its own scale: "AGREE IIIa", and never that of another."""
    scale = _SCALES.get(column)
    return folded(text)[scale.match(folded(text)).end() :] if scale else folded(text)


def code_of(text: str, column: str, words: Mapping[str, str]) -> str | None:
    """The code that a word of a column stands for; None if it is not known there."""
    found = words.get(folded(text))
    return words.get(without_scale(text, column)) if found is None else found


@dataclass(frozen=True, kw_only=True)
class Sharing:
    """The targets that share the cells of a column, in order: their columns, own words, codes, and all words known."""

    names: tuple[str, ...]
    own: tuple[Mapping[str, str], ...]
    codes: tuple[Mapping[str, str], ...]
    words: tuple[Mapping[str, str], ...]

    @classmethod
    def of(cls, table: str, columns: Sequence[ColumnLayout]) -> Sharing:
        """From the columns of the layout that read the same cells."""
        homes = [home(table, column.to) for column in columns]
        plain = [TABLES[each].column(name) for each, name in homes]
        return cls(
            names=tuple(column.name for column in plain),
            own=tuple(column.own_codes for column in columns),
            codes=tuple({folded(code): code for code in column.codes or ("yes", "no")} for column in plain),
            words=tuple(
                known_words(column.name, column.codes or ("yes", "no"), layout.codes)
                for column, layout in zip(plain, columns, strict=True)
            ),
        )

    def read(self, text: str, number: int) -> Reading:
        """What the target of that number takes of a cell."""
        taken = [self._codes(part) for part in self._parts(text)]
        each = [{codes[place] for codes in taken if place in codes} for place in range(len(self.names))]
        codes, strange = each[number] - {""}, not all(taken)
        if len(codes) > 1:
            return refused("says two things where one belongs")
        if codes:
            more = strange and number == 0 and all(each)
            question = "holds something beside what was read" if more else ""
            return Reading(rule="code", fills={self.names[number]: codes.pop()}, question=question)
        first = next((place for place, found in enumerate(each) if not found), None)
        if strange and number == first:
            return refused("holds something that is on the list of none of its targets")
        return BLANK

    def _parts(self, text: str) -> list[str]:
        whole = " ".join(text.split())
        if self._codes(whole):
            return [whole]
        return [part for part in _APART.split(text) if part.strip() and not is_blank(part)]

    def _codes(self, part: str) -> dict[int, str]:
        """The targets (their numbers) that take a part, and the code that it is for each."""
        own = {place: words[folded(part)] for place, words in enumerate(self.own) if folded(part) in words}
        for listed in () if own else (self.codes, self.words):
            known = {
                place: code
                for place, (name, words) in enumerate(zip(self.names, listed, strict=True))
                if (code := code_of(part, name, words)) is not None
            }
            if known:
                return known if len(known) == 1 else {}
        return own
