"""Texts made of what a case series says: the structured abstract, the methods, and what a reviewer will ask.

Background and conclusion are left to the author, and a question is marked open where only the author knows. The methods
come in a short form for the abstract, and in full for the paper.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass

from necrostats.errors import ChoiceError
from necrostats.measures.abstract import FEWEST_FOR_COUNTS, FEWEST_FOR_CURVES, CaseSeries
from necrostats.present import numbers
from necrostats.present.bound import DEFINITION, Row, Sentence, bound, joined, quoted, rows_of, say
from necrostats.present.case_series_sentences import counted, ends_sentence, labelled, landmark_rows, result_sentences
from necrostats.present.numbers import FEWEST_FOR_A_RATE
from necrostats.present.wording import methods_paragraphs, plural
from necrostats.shown import framed

WORD_LIMIT = 300
WORDS_FOR_THE_AUTHOR = 60
BACKGROUND = "[For the author: why this series, and what was asked of it.]"
CONCLUSION = "[For the author: what follows, no further than the intervals allow.]"
LEAST_NEEDED = ("recurrence", "follow_up", "flow", "difference", "sessions", "groups")
"""The topics that go first, in this order, where an abstract is too long."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Abstract:
    """An abstract by section: each section a tuple of sentences whose numbers are bound to their results.

    `word_limit` counts the whole abstract, `for_author` the words of it that are kept for background and conclusion.
    `left_out` are the topics that would not fit. `methods_in_full` is the methods text for the paper, a paragraph
    a method.
    """

    series: CaseSeries
    methods: tuple[Sentence, ...]
    results: Mapping[str, Sentence]
    left_out: Mapping[str, Sentence]
    methods_in_full: tuple[str, ...]
    word_limit: int
    for_author: int

    @property
    def sections(self) -> dict[str, str]:
        """The sections in order, each as one text."""
        return {
            "Background": BACKGROUND,
            "Methods": " ".join(map(str, self.methods)),
            "Results": " ".join(map(str, self.results.values())),
            "Conclusion": CONCLUSION,
        }

    @property
    def sentences(self) -> tuple[Sentence, ...]:
        """Every sentence made from results."""
        return (*self.methods, *self.results.values())

    @property
    def words(self) -> int:
        """How many words methods and results have, headings not counted."""
        return _words(self.sentences)

    @property
    def count(self) -> str:
        """The word count in a sentence, with what would not fit."""
        room = self.word_limit - self.words
        left = f"{room} are left for background and conclusion" if room >= 0 else f"{-room} too many"
        said = f"{self.words} words in methods and results, of {self.word_limit} allowed: {left}."
        if not self.left_out:
            return said
        topics = ", ".join(topic.replace("_", " ") for topic in self.left_out)
        return f"{said} Left out to keep {self.for_author} words for the author: {topics}."

    @property
    def stamp(self) -> str:
        """What the numbers rest on, to stand below the abstract so that a draft can be checked."""
        return f"Numbers from {self.series.stamp}."

    @property
    def text(self) -> str:
        """The abstract as plain text."""
        return "\n\n".join([*(f"{name}: {text}" for name, text in self.sections.items()), self.stamp])

    @property
    def markdown(self) -> str:
        """The abstract as markdown."""
        said = [f"**{name}:** {_escaped(text)}" for name, text in self.sections.items()]
        return "\n\n".join([*said, self.stamp])

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        return f"{self.text}\n\n{self.count}"

    def _repr_html_(self) -> str:
        said = "".join(f"<p><strong>{name}</strong> {html.escape(text)}</p>" for name, text in self.sections.items())
        more = "".join(f"<p>{html.escape(line)}</p>" for line in (self.count, self.stamp))
        return framed(f'{said}<div class="table-notes">{more}</div>')


def _escaped(text: str) -> str:
    return text.replace("[", "\\[").replace("]", "\\]").replace("<", "&lt;")


def abstract(series: CaseSeries, *, word_limit: int = WORD_LIMIT, for_author: int = WORDS_FOR_THE_AUTHOR) -> Abstract:
    """The structured abstract of a case series, within a number of words.

    Background and conclusion are the author's: `for_author` of the words are kept for them. Where the rest does not
    fit, whole sentences are left out, and `left_out` names them. ChoiceError for a limit that is no whole number.
    """
    for name, value in (("word_limit", word_limit), ("for_author", for_author)):
        if isinstance(value, bool) or int(value) != value or value < 0:
            raise ChoiceError(f"{name} is {value}: a whole number of words, 0 or more, is needed.")
    methods, results = method_sentences(series), result_sentences(series)
    kept = _fitting(methods, results, word_limit - for_author)
    return Abstract(
        series=series,
        methods=methods,
        results={topic: results[topic] for topic in results if topic in kept},
        left_out={topic: results[topic] for topic in results if topic not in kept},
        methods_in_full=methods_paragraphs(series.shown),
        word_limit=int(word_limit),
        for_author=int(for_author),
    )


def _fitting(methods: tuple[Sentence, ...], results: Mapping[str, Sentence], room: int) -> set[str]:
    """The topics that fit: all that are needed, then the others as long as there is room, the most needed first."""
    kept = set(results) - set(LEAST_NEEDED)
    for topic in reversed(LEAST_NEEDED):
        longer = kept | ({topic} & set(results))
        if _words((*methods, *(results[each] for each in longer))) <= room:
            kept = longer
    return kept


def _words(sentences: tuple[Sentence, ...]) -> int:
    """Words as a journal counts them: a per cent sign is none of its own."""
    return sum(any(map(str.isalnum, word)) for sentence in sentences for word in sentence.text.split())


def method_sentences(series: CaseSeries) -> tuple[Sentence, ...]:
    """The methods in a short form, as far as the results used them."""
    said = (_included(series), _resolution(series), _incidence(series), _of_events(series), _intervals(series))
    return tuple(sentence for sentence in said if sentence)


def _included(series: CaseSeries) -> Sentence:
    first = say("Case series from a registry: ", counted(series.patients, "patients", "flow", "population.patients"))
    if not series.periods:
        return say(first, " with an index drainage.")
    ends = dict.fromkeys((series.periods[0], series.periods[-1]))
    span = joined((quoted(label, "flow", "label") for label in ends), last=" to ")
    return say(first, " with an index drainage in ", span, ".")


def _has(series: CaseSeries, *names: str) -> bool:
    return any(name in series.results for name in names)


def _resolution(series: CaseSeries) -> Sentence:
    if not _has(series, "ends", "cases"):
        return say("")
    asked = series.definition
    size = quoted(asked.size, DEFINITION, "size")
    free = " and freedom from symptoms at the nearest review" if asked.symptom_free else ""
    drain = "a percutaneous drain or " if asked.percutaneous_drain == "failure" else ""
    horizon = bound(f"{asked.horizon_days} days", DEFINITION, (), [("horizon_days", float(asked.horizon_days), "days")])
    seen = say("Resolution: longest axis of every collection ", size, f" on a scan{free}")
    return say(seen, f", without {drain}surgery before it, within ", horizon, " of index drainage.")


def _incidence(series: CaseSeries) -> Sentence:
    if _has(series, "time"):
        return say("Incidence by session and by day: Aalen–Johansen, the patient as the unit, other ends competing.")
    if _has(series, "ends"):
        return say("Patients are counted by the end of their course; no curve was fitted.")
    return say("")


def _of_events(series: CaseSeries) -> Sentence:
    if not _has(series, "events"):
        return say("")
    if series.patients < FEWEST_FOR_CURVES:
        return say("Adverse events are counted per patient.")
    return say("Adverse events are given per patient and, allowing for sessions of the same patient, per session.")


def _intervals(series: CaseSeries) -> Sentence:
    if series.patients < FEWEST_FOR_COUNTS:
        return say("")
    exact = " exact" if series.patients < FEWEST_FOR_CURVES else ""
    level = bound(numbers.level_name(series.level), DEFINITION, (), [("level", series.level, "%")])
    return say("Intervals (CI) are", exact, " ", level, " confidence intervals.")


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
