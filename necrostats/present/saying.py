"""The findings of a result as sentences, one function for each kind of result; shared turns of phrase.

The answer to something that cannot be presented.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch

from necrostats.errors import ChoiceError, unknown_choice
from necrostats.present.labels import plain, sentence_case
from necrostats.results import Result


def not_presentable(verb, given: object) -> ChoiceError:
    """The error for a value that a verb (chart, table, findings) knows no way with; it lists what the verb knows."""
    known = sorted(kind.__name__ for kind in verb.registry if kind is not object)
    return unknown_choice("kind of result", type(given).__name__, known)


_NO_NAMES = frozenset(("none", "yes", "no", "other", "unknown"))


@singledispatch
def findings(result: Result, **options) -> tuple[str, ...]:
    """The findings of a result, each a sentence in one unit, with every number from the result."""
    raise not_presentable(findings, result)


def ended(text: str) -> str:
    """A text that ends as a sentence does."""
    text = text.strip()
    return text if not text or text[-1] in ".!?" else f"{text}."


def listed(items: Iterable[str]) -> str:
    """Items as "a, b and c"."""
    items = list(items)
    return ", ".join(items[:-1]) + " and " + items[-1] if len(items) > 1 else "".join(items)


def about(group: object, grouped: bool, sentence: str) -> str:
    """A sentence with the group it is about before it, as "Cap suction: within 90 days …", where there are groups.

    A name that would read as a word of the sentence is said to be that of a group.
    """
    if not grouped:
        return sentence
    first_word = sentence.split(" ", 1)[0]
    lowered = sentence if first_word[1:] != first_word[1:].lower() else sentence[:1].lower() + sentence[1:]
    name = plain(group)
    return f'Group "{name}": {lowered}' if name in _NO_NAMES else f"{sentence_case(name)}: {lowered}"


def plural(n: float, noun: str) -> str:
    """A noun for so many, given in the plural: "patients" → "patient" for 1."""
    return noun[:-1] if n == 1 and noun.endswith("s") else noun
