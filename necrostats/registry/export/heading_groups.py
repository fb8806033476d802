"""Headings that differ only in a number: "DEN1 date … DEN7 date", "1st DEN date", "K1 size, K2 size"."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from necrostats.registry.export.layout import NUMBER
from necrostats.registry.text import folded

_ORDINAL = r"(?:st|nd|rd|th|er|ère|ere|re|e|º|ª|°|\.)(?=\s|$)"
_NUMBER = rf"(?P<number>[0-9]{{1,2}})(?P<ordinal>{_ORDINAL})?(?![0-9+])"
_NUMBERED = re.compile(rf"(?P<before>.*?){_NUMBER}(?P<after>.*)", re.DOTALL)
_BEYOND = re.compile(r".*[0-9]{1,2}\s*(?:\+|and more|onwards|ff\b|y más|et plus|e oltre).*", re.DOTALL)


@dataclass(frozen=True, kw_only=True)
class Group:
    """`headings` with {n} for the number; `stem` is the word beside it; `written` (heading, number) → as it stands."""

    stem: str
    numbers: tuple[int, ...]
    headings: tuple[str, ...]
    written: Mapping[tuple[str, int], str]

    def every_heading(self) -> Iterator[str]:
        """Every heading of the group, as it stands."""
        yield from (self.written[form, number] for form in self.headings for number in self.numbers)

    def own_part(self, heading: str) -> str:
        """A heading of the group without what all of them share."""
        bare = heading.replace(NUMBER, " ")
        return re.sub(rf"(?<!\w){re.escape(self.stem)}(?!\w)", " ", bare).strip(" _-.:#") if self.stem else bare.strip()


def groups_of(shown: Sequence[str]) -> list[Group]:
    """The groups among some headings, each with at least two numbers, in order of appearance."""
    forms: dict[str, dict[int, str]] = {}
    first: dict[str, str] = {}
    for heading in shown:
        if (found := _NUMBERED.fullmatch(heading)) and not _BEYOND.fullmatch(heading):
            after = f" {found['after'].lstrip()}" if found["ordinal"] else found["after"]
            form = f"{found['before']}{NUMBER}{after}"
            form = first.setdefault(folded(form), form)
            forms.setdefault(form, {}).setdefault(int(found["number"]), heading)
    by_stem: dict[str, dict[str, dict[int, str]]] = {}
    for form, numbered in forms.items():
        if len(numbered) > 1 and min(numbered) >= 1:
            by_stem.setdefault(folded(_stem(form)), {})[form] = numbered
    return [_group(each) for each in by_stem.values()]


def _stem(form: str) -> str:
    """The word before the number, or else the one after it."""
    before, _, after = form.partition(NUMBER)
    words = re.findall(r"[^\W\d_]+", before)
    return words[-1] if words else next(iter(re.findall(r"[^\W\d_]+", after)), "")


def _group(forms: Mapping[str, Mapping[int, str]]) -> Group:
    """The forms that have the numbers most of them have."""
    counted = Counter(tuple(sorted(numbered)) for numbered in forms.values())
    numbers = max(counted, key=lambda each: (counted[each], len(each)))
    kept = [form for form, numbered in forms.items() if set(numbers) <= set(numbered)]
    written = {(form, number): forms[form][number] for form in kept for number in numbers}
    return Group(stem=_stem(kept[0]), numbers=numbers, headings=tuple(kept), written=written)


def beyond(shown: Sequence[str], stem: str) -> str:
    """The heading of the column with the rest of a group: "DEN8+"."""
    return next((each for each in shown if folded(each).startswith(folded(stem)) and _BEYOND.fullmatch(each)), "")
