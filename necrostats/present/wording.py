"""Results in words: findings, what they rest on, and the cautions that every report shows."""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import replace

from necrostats.present import numbers
from necrostats.present.labels import sentence_case
from necrostats.present.saying import ended, findings, listed
from necrostats.results import Method, Population, Result, Unanswered
from necrostats.shown import framed
from necrostats.visible import visible

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
