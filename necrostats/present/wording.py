"""Results in words: labels, turns of phrase, the findings of each kind as sentences, methods, captions and cautions.

Codes are written in plain words and groups stand in their order; a kind says its findings in a function of its own.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from dataclasses import replace
from functools import singledispatch

import pandas as pd

from necrostats.errors import ChoiceError
from necrostats.measures.abstract import CaseSeries
from necrostats.present import numbers
from necrostats.registry.tables import Registry
from necrostats.results import Method, Population, Result, Unanswered
from necrostats.shown import framed
from necrostats.visible import visible

EVERYONE = "all"
_CODE = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)+")
_PLACE = re.compile(r"([a-z_]+)\.([a-z0-9_]+)")
_SCALES = {
    "asa class": "ASA class",
    "atlanta severity": "Atlanta severity",
    "agree grade": "AGREE grade",
    "asge severity": "ASGE severity",
    "clavien grade": "Clavien–Dindo grade",
    "icu nights": "ICU nights",
}


def plain(label: object) -> str:
    """A code as words: "cap_suction" → "cap suction", "sessions.texture" → "sessions: texture"."""
    text = " ".join(str(label).split())
    if place := _PLACE.fullmatch(text):
        return _named(f"{place[1]}: {place[2]}".replace("_", " "))
    return _named(text.replace("_", " ") if _CODE.fullmatch(text) else text)


def _named(text: str) -> str:
    """The names of scales as their authors write them."""
    for written, name in _SCALES.items():
        text = text.replace(written, name)
    return text


def sentence_case(text: str) -> str:
    """The first letter a capital, the rest as written."""
    return text[:1].upper() + text[1:]


def in_order(values: pd.Series) -> list:
    """Every label of a column in its order: all categories, used or not, or else in order of appearance."""
    if isinstance(values.dtype, pd.CategoricalDtype):
        return list(values.cat.categories)
    return list(dict.fromkeys(values.dropna()))


def with_n(name: str, n: str) -> str:
    """A name with its number, which no line break parts: "net, n = 17"."""
    return f"{name}, n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}{n}"


def is_grouped(table: pd.DataFrame) -> bool:
    """Whether a table has groups at all, and not just everyone."""
    return in_order(table["group"]) not in ([], [EVERYONE])


def not_presentable(given: object) -> ChoiceError:
    """The error for a value that no verb (chart, table, words) can present, with how to get one that they can."""
    if isinstance(given, Result):
        return ChoiceError(f'"{given.title}" is a list and has no figure. Show it with table(result).')
    if isinstance(given, CaseSeries):
        return ChoiceError('A case series holds many results. Ask of one of them: series.results["deaths"].')
    what = "a registry, not a result" if isinstance(given, Registry) else f"no result but {_called(given)}"
    return ChoiceError(f"This is {what}. Ask a measure first: result = time_to_resolution(registry).")


def _called(given: object) -> str:
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


MOST_IN_ALT = 3
_CAUTIONS = (
    "These data are observational: instruments were chosen, not assigned.",
    "For review, research and teaching. This is not a medical device, and not for decisions about one patient or for "
    "recalling stents: clinical judgement, local protocols and licensed practice come first.",
    "Definition, window and denominator stand with each rate and must be quoted with it.",
    "No signal is not the same as no change.",
    "Benchmarks are context, not a pass mark.",
    "Whether this work is audit or research is for the local ethics body to say.",
    "Aids to de-identification certify nothing: read what you share before it leaves the unit.",
    "Operators are not ranked, and these figures must not be used to rank them.",
)


def cautions() -> tuple[str, ...]:
    """The cautions every report shows, each a sentence or two."""
    return _CAUTIONS


def _who(population: Population) -> str:
    left_out = listed(f"{reason} ({numbers.count(number)})" for reason, number in population.left_out.items())
    return f"Left out: {left_out}." if left_out else ""


class Words(str):
    """Sentences in paragraphs, with a blank line between two when printed."""

    __slots__ = ()

    @property
    def paragraphs(self) -> tuple[str, ...]:
        """The paragraphs one by one."""
        return tuple(self.split(BETWEEN))

    def _repr_html_(self) -> str:
        return framed("".join(f"<p>{html.escape(paragraph)}</p>" for paragraph in self.paragraphs))

    def _repr_pretty_(self, printer, cycle: bool) -> None:
        printer.text(str(self))


BETWEEN = "\n\n"


def _basis(result: Result) -> list[str]:
    """What the findings rest on: how they were counted and who was left out, then each note by itself."""
    if isinstance(result, Unanswered):
        return []
    method = result.method
    named = (("Estimand", method.estimand), ("Definition", method.definition))
    said = [f"{name}: {ended(text)}" for name, text in named if text]
    counted_how = " ".join(part for part in (*said, _who(result.population)) if part)
    return [counted_how, *(ended(note.text) for note in result.notes)]


def words(result: Result, **options) -> Words:
    """A result in plain sentences: findings; then estimand, definition and who was left out; then each note.

    Each of these is a paragraph. Every number comes from the result. `at=` names the landmark of curves to speak of
    (day 90, or session 3).
    """
    parts = (" ".join(findings(result, **options)), *_basis(result))
    return Words(BETWEEN.join(visible(part) for part in parts if part))


def counted(population: Population) -> str:
    """Who was counted: "142 patients, 391 sessions"."""
    numbers_of = (
        ("patient", population.patients),
        ("collection", population.collections),
        ("session", population.sessions),
    )
    known = [(noun, number) for noun, number in numbers_of if number is not None]
    return ", ".join(f"{numbers.count(number)} {noun}{'' if number == 1 else 's'}" for noun, number in known)


def alternative(result: Result, kind: str) -> str:
    """The alternative text of a figure: what it is and what it shows, short enough to be heard out."""
    said = findings(result)
    more = f" {len(said) - MOST_IN_ALT} more in the table of the figure." if len(said) > MOST_IN_ALT else ""
    return f"{ended(f'{kind}: {result.title}')} {' '.join(said[:MOST_IN_ALT])}{more}"


def caption(result: Result, *remarks: str) -> str:
    """The caption of a figure: title, who was counted, estimator, interval and what else must be known."""
    method = result.method
    interval = _interval(method, f"{numbers.level_name(method.level)} intervals: ")
    parts = (result.title, counted(result.population), method.estimator, interval, *remarks, _who(result.population))
    return " ".join(ended(sentence_case(part)) for part in parts if part)


def table_caption(result: Result) -> str:
    """The caption of a table: title, who was counted and who was left out; how it was made stands in the methods."""
    parts = (result.title, counted(result.population), _who(result.population))
    return " ".join(ended(sentence_case(part)) for part in parts if part)


def _interval(method: Method, opening: str) -> str:
    """How the interval was made, after an opening; or that there is none, and why."""
    text = method.interval.strip()
    if text.lower().startswith("none"):
        reason = text[4:].strip(" :;,")
        return "No interval" + (f": {reason}" if reason else "")
    return f"{opening}{text}" if text else ""


def _sources(references: Iterable[str]) -> str:
    return " ".join(ended(sentence_case(reference)) for reference in references)


def _by_method(results: Iterable[Result]) -> dict[Method, list[str]]:
    found: dict[Method, list[str]] = {}
    for result in results:
        if isinstance(result, Unanswered):
            continue
        titles = found.setdefault(result.method, [])
        if result.title not in titles:
            titles.append(result.title)
    return found


LONG = 60
"""Signs from which the words for an interval are not said twice in one list."""


def definition_list(results: Iterable[Result]) -> str:
    """The definitions of a report as an HTML list: one entry for each method, under the titles that use it.

    A definition stands where it is first needed, and the sources once, at the end.
    """
    found = _by_method(results)
    entries, given, limits = [], set(), {}
    for method, titles in found.items():
        terms = "".join(f"<dt>{html.escape(title)}</dt>" for title in titles)
        once = replace(method, definition="") if method.definition in given else method
        given.add(method.definition)
        first = limits.setdefault(method.interval, titles[0])
        if first != titles[0] and len(method.interval) > LONG:
            once = replace(once, interval=f'as for "{first}"')
        entries.append(f"<div>{terms}<dd>{html.escape(_method_text(once))}</dd></div>")
    sources = dict.fromkeys(reference for method in found for reference in method.references)
    if sources:
        entries.append(f"<div><dt>Sources</dt><dd>{html.escape(_sources(sources))}</dd></div>")
    return f'<dl class="definitions">{"".join(entries)}</dl>' if entries else ""


def _method_text(method: Method) -> str:
    """What is estimated, by which definition, how, and with which interval."""
    interval = _interval(method, f"{numbers.level_name(method.level)} intervals: ")
    parts = (method.estimand, method.definition, method.estimator and f"Estimator: {method.estimator}", interval)
    return " ".join(ended(sentence_case(part)) for part in parts if part)


def _method_sentence(method: Method, titles: list[str]) -> str:
    return _method_text(replace(method, estimand=f"{listed(titles)}: {method.estimand}"))


def methods_paragraphs(results: Iterable[Result]) -> tuple[str, ...]:
    """The methods text with a paragraph a method, each definition where it is first needed; then the sources."""
    found, given = _by_method(results), set()
    said = []
    for method, titles in found.items():
        said.append(_method_sentence(replace(method, definition="") if method.definition in given else method, titles))
        given.add(method.definition)
    sources = dict.fromkeys(reference for method in found for reference in method.references)
    return (*said, f"Sources: {_sources(sources)}") if sources else tuple(said)


def methods_paragraph(results: Iterable[Result]) -> str:
    """The methods text of a report: each method once, in the order of the results, then the sources."""
    found = _by_method(results)
    sources = list(dict.fromkeys(reference for method in found for reference in method.references))
    said = [_method_sentence(method, titles) for method, titles in found.items()]
    return " ".join([*said, f"Sources: {_sources(sources)}"] if sources else said)
