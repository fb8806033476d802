"""The findings of a result as sentences, one function for each kind of result; shared turns of phrase.

The answer to something that cannot be presented.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import singledispatch

from necrostats.errors import ChoiceError
from necrostats.measures.abstract import CaseSeries
from necrostats.present.labels import plain, sentence_case
from necrostats.registry.tables import Registry
from necrostats.results import Result


def not_presentable(given: object) -> ChoiceError:
    """The error for a value that no verb (chart, table, words) can present, with how to get one that they can."""
    if isinstance(given, Result):
        return ChoiceError(f'"{given.title}" is a list and has no figure. Show it with table(result).')
    if isinstance(given, CaseSeries):
        return ChoiceError('A case series holds many results. Ask of one of them: series.results["deaths"].')
    what = "a registry, not a result" if isinstance(given, Registry) else f"no result but {_named(given)}"
    return ChoiceError(f"This is {what}. Ask a measure first: result = time_to_resolution(registry).")


def _named(given: object) -> str:
    return {"NoneType": "nothing", "str": f'the text "{given}"'}.get(type(given).__name__, type(given).__name__)


_NO_NAMES = frozenset(("none", "yes", "no", "other", "unknown"))


@singledispatch
def findings(result: Result, **options) -> tuple[str, ...]:
    """The findings of a result, each a sentence in one unit, with every number from the result."""
    raise not_presentable(result)


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
