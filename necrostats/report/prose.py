"""Sentences for a notebook: leads, definitions, the methods paragraph and the cautions."""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass

from necrostats.measures.abstract import CaseSeries
from necrostats.present import wording
from necrostats.report.typography import CAUTIONS, LEAD, tied
from necrostats.results import Result, Unanswered
from necrostats.shown import framed


@dataclass(frozen=True, kw_only=True)
class Prose:
    """Text that shows as paragraphs in a notebook and as plain lines elsewhere."""

    text: str
    html: str

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return self.text

    def _repr_html_(self) -> str:
        return framed(self.html)


def lead(*results: Result, sentences: int = 1, **options) -> Prose:
    """The first findings of a result, to open a section with; `at` chooses the landmark of curves.

    Of several results each has a line, and a sentence that they share stands once.
    """
    said = dict.fromkeys(each for result in results for each in wording.findings(result, **options)[:sentences])
    text = " ".join(said)
    return Prose(text=text, html=f'<p class="{LEAD}">{html.escape(tied(text))}</p>')


def _each(results: Iterable[Result | CaseSeries]) -> list[Result]:
    """The results, with those of a case series in its place; ChoiceError for what is none."""
    found = [one for each in results for one in (each.shown if isinstance(each, CaseSeries) else (each,))]
    for each in found:
        if not isinstance(each, Result):
            raise wording.not_presentable(each)
    return found


def definitions_used(*results: Result | CaseSeries) -> Prose:
    """The definition behind each result, once each."""
    results = _each(results)
    used = [result for result in results if not isinstance(result, Unanswered)]
    text = "\n".join(f"{result.title}: {result.method.definition or result.method.estimand}" for result in used)
    return Prose(text=text, html=wording.definition_list(results))


def methods(*results: Result | CaseSeries) -> Prose:
    """The methods paragraph for these results, with its sources."""
    text = wording.methods_paragraph(_each(results))
    return Prose(text=text, html=f"<p>{html.escape(text)}</p>")


def cautions() -> Prose:
    """What to bear in mind before a figure is quoted."""
    items = "".join(f"<li>{html.escape(sentence)}</li>" for sentence in wording.cautions())
    box = f'<div class="{CAUTIONS}"><p><strong>Cautions</strong></p><ul>{items}</ul></div>'
    return Prose(text="\n".join(wording.cautions()), html=box)
