"""What a reviewer will ask of a case series: each question answered from the results, or marked open for the author."""

from __future__ import annotations

import html
from dataclasses import dataclass

from necrostats.measures.abstract import CaseSeries
from necrostats.present import numbers
from necrostats.present.bound import DEFINITION, Row, Sentence, joined, quoted, rows_of, say
from necrostats.present.case_series_sentences import counted, ends_sentence, labelled, landmark_rows, result_sentences
from necrostats.present.numbers import FEWEST_FOR_A_RATE
from necrostats.present.wording import plural
from necrostats.shown import framed

OPEN = "open: for the author"
ANSWERED = "answered"


@dataclass(frozen=True, kw_only=True, eq=False)
class Question:
    """A question, and its answer; none: it is the author's to give."""

    question: str
    answer: Sentence

    @property
    def state(self) -> str:
        """ "answered", or open."""
        return ANSWERED if self.answer else OPEN


@dataclass(frozen=True, kw_only=True, eq=False)
class ReviewerQuestions:
    """The questions in order."""

    questions: tuple[Question, ...]

    def __str__(self) -> str:
        return "\n".join(f"{each.question} {each.answer.text or f'[{OPEN}]'}" for each in self.questions)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        said = (
            f"<p><strong>{html.escape(each.question)}</strong> {html.escape(each.answer.text or f'[{OPEN}]')}</p>"
            for each in self.questions
        )
        return framed("".join(said))


def reviewer_questions(series: CaseSeries) -> ReviewerQuestions:
    """What a reviewer will ask, each number of an answer bound to its result; open where only the author knows."""
    said = result_sentences(series)
    unknown = say("")
    missing = said.get("no resolution", unknown)
    asked = (
        ("Per patient or per session?", said.get("events") or said.get("no events") or said.get("cases", unknown)),
        (
            "What counts as resolved?",
            missing or quoted(series.definition.sentence(), DEFINITION, "sentence"),
        ),
        ("Who read the scans, and did they know the course?", unknown),
        ("Would another definition give another figure?", _other_definitions(series)),
        ("Were patients who died, or went to surgery, censored?", _competing(series)),
        ("How many were lost to view?", _lost(series)),
        ("How often were patients scanned?", _scans(series)),
        ("Were adverse events looked for in every session?", _looked_for(series)),
        ("What is missing from the record?", _missing(series)),
        ("Are differences between groups adjusted for anything?", _adjusted(series)),
        ("Were cases consecutive, and was the series planned beforehand?", unknown),
        ("How was the number of patients chosen?", unknown),
        ("Was there approval, and consent?", unknown),
    )
    return ReviewerQuestions(questions=tuple(Question(question=text, answer=answer) for text, answer in asked))


def _other_definitions(series: CaseSeries) -> Sentence:
    result = series.results.get("sensitivity")
    if result is None or not landmark_rows(series, "time", series.day):
        return say("")
    rows = [row for row in rows_of("sensitivity", result) if numbers.known(row.estimate)]
    if len(rows) < 2:
        return say("")
    ends = [min(rows, key=lambda row: row.estimate), max(rows, key=lambda row: row.estimate)]
    each = [say(row.percent(row.n), " (", labelled(row.variable, "sensitivity"), ")") for row in ends]
    title = quoted(result.title, "sensitivity", "title")
    return say(title, ": from ", joined(each, last=" to "), ".")


def _competing(series: CaseSeries) -> Sentence:
    if "ends" not in series.results:
        return say("")
    return say("No: they end the course, and compete with resolution. ", ends_sentence(series))


def _lost(series: CaseSeries) -> Sentence:
    result = series.results.get("ends")
    if result is None:
        return say("")
    key = lambda reason: (("left out", reason),)  # noqa: E731
    each = [
        quoted_count(count, reason, "ends", key(reason))
        for reason, count in result.population.left_out.items()
        if reason.startswith("patients ")
    ]
    if not each:
        return say("None: the course of every patient is known to the horizon.")
    return say(joined(each), ".")


def quoted_count(count: int, reason: str, measure: str, key: tuple[tuple[str, str], ...]) -> Sentence:
    """ "4 patients lost to view before day 180": a count that was left out, with its reason."""
    noun, _, rest = reason.partition(" ")
    return say(counted(count, noun, measure, "population.left_out", key), " ", quoted(rest, measure, "label", key))


def _scans(series: CaseSeries) -> Sentence:
    result = series.results.get("scan_schedule")
    if result is None:
        return say("")
    rows = [
        row for row in rows_of("scan_schedule", result) if row.n >= FEWEST_FOR_A_RATE and numbers.known(row.estimate)
    ]
    each = [_gap(row, len(rows) > 1) for row in rows]
    return say("Median days between scans under treatment: ", joined(each, "; ", "; "), ".") if each else say("")


def _gap(row: Row, grouped: bool) -> Sentence:
    middle = row.bind(numbers.plain_number(row.estimate), ("estimate", "days"))
    return say(labelled(row.group, "scan_schedule"), " ", middle) if grouped else middle


def _looked_for(series: CaseSeries) -> Sentence:
    result = series.results.get("events")
    if result is None:
        return say("")
    each = [
        quoted_count(count, reason, "events", (("left out", reason),))
        for reason, count in result.population.left_out.items()
        if reason.startswith(("sessions with no record", "patients with no record"))
    ]
    if not each:
        return say("Yes, or an event was recorded.")
    return say("Not in all. Left out: ", joined(each), ".")


def _missing(series: CaseSeries) -> Sentence:
    result = series.results.get("baseline")
    if result is None:
        return say("")
    rows = {row.variable: row for row in reversed(rows_of("baseline", result)) if row.missing}
    most = sorted(rows.values(), key=lambda row: -row.missing)[:3]
    if not most:
        return say("Of the baseline table, nothing.")
    each = [say(labelled(row.variable, "baseline"), " (", _lacking(row), ")") for row in most]
    return say("Most often, of the baseline table: ", joined(each), ".")


def _lacking(row: Row) -> Sentence:
    return say(row.count("missing", "patients"), f" {plural(row.missing, 'patients')}")


def _adjusted(series: CaseSeries) -> Sentence:
    if not series.by:
        return say("No groups are compared.")
    return say("No. Groups are shown as they were, with standardised differences of what they were like at the start.")
