"""Checks a draft against its results: numbers that no longer agree, that have no source, or that mix units.

One finding for each number, word or mark that is not as in the results.
"""

from __future__ import annotations

import html
import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

import pandas as pd

from necrostats.present import numbers
from necrostats.report.draft_reading import (
    UNITS,
    Draft,
    DraftParagraph,
    DraftTable,
    Fraction,
    Token,
    content,
    fraction,
    is_rounded,
    is_year,
    likeness,
    read_draft,
    rounds_to,
    sentences,
    tokens,
    units_of,
)
from necrostats.report.draft_sources import Cell, Passage, Results, Sources, exact, paired, sources_of, unit_after
from necrostats.shown import framed

DISAGREES, NO_SOURCE, MIXED_UNITS, OTHER_NAME, STALE = (
    "no longer agrees",
    "has no source",
    "mixes units",
    "names another group or outcome",
    "rests on other data or definitions",
)


@dataclass(frozen=True, kw_only=True)
class DraftFinding:
    """A number, word or mark of a draft that is not as in the results."""

    where: str
    problem: str
    written: str
    expected: str
    source: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class DraftCheck:
    """What a check found. `numbers` were compared; `passed_over` stand in sections that are the author's own."""

    name: str
    findings: tuple[DraftFinding, ...]
    numbers: int
    passed_over: int
    stale: bool | None

    @property
    def frame(self) -> pd.DataFrame:
        """The findings as a data frame, one row each."""
        columns = list(DraftFinding.__dataclass_fields__)
        return pd.DataFrame([[getattr(each, name) for name in columns] for each in self.findings], columns=columns)

    @property
    def summary(self) -> str:
        """What was found, in a sentence or two."""
        found = (
            f"{len(self.findings)} finding{'' if len(self.findings) == 1 else 's'}"
            if self.findings
            else "nothing to mend"
        )
        own = f"; {self.passed_over} in the author's own sections were not" if self.passed_over else ""
        marks = {
            None: " The draft carries no mark of its data and definitions: whether they are these is unknown.",
            True: " The draft rests on other data or definitions than these.",
            False: "",
        }
        return f"{self.name}: {found} ({self.numbers} numbers compared{own}).{marks[self.stale]}"

    def __str__(self) -> str:
        return "\n".join([self.summary, *map(_line, self.findings)])

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{html.escape(_line(each))}</li>" for each in self.findings)
        return framed(f"<p>{html.escape(self.summary)}</p>" + (f"<ul>{items}</ul>" if items else ""))


def _line(finding: DraftFinding) -> str:
    expected = f'; in the results "{finding.expected}"' if finding.expected else ""
    source = f" ({finding.source})" if finding.source else ""
    return f'  {finding.where}: "{finding.written}" {finding.problem}{expected}{source}. In: {finding.sentence}'


OWN_WORDS = re.compile(
    r"background|introduction|aims?|objectives?|discussion|references|acknowledg|funding|keywords", re.I
)
"""Sections in which a number may come from elsewhere: only sentences taken from the results are checked there."""

COUNTED = ("patients", "sessions")
_STAMP = re.compile(r"data ([0-9a-f]{12}), definitions ([0-9a-f]{12})")
ALIKE_IN_WORDS = 0.5
ALIKE, ALIKE_ELSEWHERE, WHOLE = 0.62, 0.8, 0.82
NEAREST, MOST_AT_ONCE, FEWEST_WORDS = 12, 4, 5


def check_draft(file: str | Path, results: Results) -> DraftCheck:
    """Compare each number of a draft (.docx, .md, .txt) with the results it was made from.

    `results` is a case series, its abstract, or one or several results. Sentences are matched with those that the
    results give, even where they were reworded, and compared number by number, unit by unit and name by name; tables
    cell by cell; of other sentences each number must be found in the results in the same unit. Sections such as
    background and discussion are the author's own: there only sentences taken from the results are compared. A mark
    of data and definitions that is not that of the results makes the draft stale. A finding is a question to the
    author: a sentence written anew may be right. SourceError for a file that cannot be read.
    """
    draft, sources = read_draft(file), sources_of(results)
    checker = _Checker(sources)
    found = [finding for part in draft.parts for finding in checker.check(part)]
    stale, marks = _staleness(draft, sources)
    return DraftCheck(
        name=draft.name,
        findings=(*marks, *found),
        numbers=checker.compared,
        passed_over=checker.passed_over,
        stale=stale,
    )


def _staleness(draft: Draft, sources: Sources) -> tuple[bool | None, list[DraftFinding]]:
    marks = dict.fromkeys(_STAMP.findall(draft.text))
    if not marks or not sources.stamp:
        return None, []
    data, definitions = _STAMP.search(sources.stamp).groups()
    old = [
        DraftFinding(
            where="mark",
            problem=STALE,
            written=f"{what} {written}",
            expected=f"{what} {now}",
            source="",
            sentence="the mark of the draft",
        )
        for mark in marks
        for what, written, now in zip(("data", "definitions"), mark, (data, definitions), strict=True)
        if written != now
    ]
    return bool(old), old


class _Checker:
    """Compares parts of a draft with what the results give, and counts the numbers it saw."""

    def __init__(self, sources: Sources) -> None:
        self.sources, self.compared, self.passed_over = sources, 0, 0

    def check(self, part: DraftParagraph | DraftTable) -> Iterator[DraftFinding]:
        own = bool(OWN_WORDS.match(part.section.strip()))
        if isinstance(part, DraftTable):
            yield from self._table(part, own)
        elif not _STAMP.search(part.text):
            yield from self._paragraph(part, own)

    def _paragraph(self, part: DraftParagraph, own: bool) -> Iterator[DraftFinding]:
        said, parts = tokens(part.text), sentences(part.text)
        if self._is_taken_over(said):
            return
        whole = self._nearest(part.text, WHOLE) if len(parts) <= MOST_AT_ONCE else None
        if whole is not None and len(sentences(whole.text)) == len(parts):
            yield from self._compare(part.where, said, whole, part.text, own)
            return
        for sentence in parts:
            yield from self._sentence(part.where, sentence, own)

    def _sentence(self, where: str, sentence: str, own: bool) -> Iterator[DraftFinding]:
        said = tokens(sentence)
        if not any(token.is_number or token.same in UNITS for token in said):
            return
        if self._is_taken_over(said):
            return
        spoken = any(token.is_number for token in said)
        found = self._nearest(sentence, ALIKE if spoken and not own else ALIKE_ELSEWHERE)
        if found is not None:
            yield from self._compare(where, said, found, sentence, own)
        elif own:
            self.passed_over += sum(token.is_number for token in said)
        else:
            yield from self._by_value(where, said, range(len(said)), sentence)

    def _is_taken_over(self, said: Sequence[Token]) -> bool:
        """Whether a text stands in the results word for word; its numbers are then compared."""
        there = exact(said) in self.sources.texts or exact(said) in self.sources.cells
        self.compared += sum(token.is_number for token in said) if there else 0
        return there

    def _nearest(self, text: str, least: float) -> Passage | None:
        """The passage that a text was most likely taken from; None where nothing is like it."""
        here = Passage(text=text, source="")
        if len(here.tokens) < FEWEST_WORDS:
            return None
        said, words = here.tokens, here.words
        near = sorted(
            self.sources.passages,
            key=lambda each: -len(each.words & words) / (len(words) + len(each.words) or 1),
        )[:NEAREST]
        skeleton, full = [token.same for token in said], exact(said)
        scored = []
        for passage in near:
            shape = likeness([token.same for token in passage.tokens], skeleton)
            if shape >= least and likeness(content(passage.tokens), content(said)) >= ALIKE_IN_WORDS:
                scored.append((shape + likeness(exact(passage.tokens), full), passage))
        return max(scored, key=lambda pair: pair[0])[1] if scored else None

    def _compare(
        self, where: str, said: Sequence[Token], passage: Passage, sentence: str, own: bool
    ) -> Iterator[DraftFinding]:
        theirs = passage.tokens
        matcher = SequenceMatcher(None, [each.same for each in theirs], [each.same for each in said], autojunk=False)
        left: list[int] = []
        for kind, first, last, start, end in matcher.get_opcodes():
            if kind == "equal":
                for place, here in zip(range(first, last), range(start, end), strict=True):
                    yield from self._number(where, said[here], passage, place, sentence)
            else:
                yield from self._words(where, theirs[first:last], said[start:end], passage, sentence)
                left += [place for place in range(start, end) if said[place].is_number]
        yield from self._order(where, theirs, said, passage, sentence)
        if left and own:
            self.passed_over += len(left)
        elif left:
            yield from self._by_value(where, said, left, sentence)

    def _number(self, where: str, token: Token, passage: Passage, place: int, sentence: str) -> Iterator[DraftFinding]:
        expected = passage.tokens[place]
        if not token.is_number:
            return
        self.compared += 1
        source, value = passage.source_of(place)
        if token.value == expected.value or is_rounded(token, value if value is not None else expected.value, expected):
            return
        yield DraftFinding(
            where=where, problem=DISAGREES, written=token.text, expected=expected.text, source=source, sentence=sentence
        )

    def _words(
        self, where: str, theirs: Sequence[Token], said: Sequence[Token], passage: Passage, sentence: str
    ) -> Iterator[DraftFinding]:
        """What was put in the place of other words: another unit is a mistake, other words are the author's."""
        expected, written = units_of(theirs), units_of(said)
        for unit, word in written.items():
            if expected and unit not in expected:
                other = next(iter(expected.values()))
                yield DraftFinding(
                    where=where,
                    problem=MIXED_UNITS,
                    written=word,
                    expected=other,
                    source=passage.source,
                    sentence=sentence,
                )

    def _order(
        self, where: str, theirs: Sequence[Token], said: Sequence[Token], passage: Passage, sentence: str
    ) -> Iterator[DraftFinding]:
        """Groups and outcomes in another order, or another in the place of one."""
        names = self.sources.names
        expected = [(names[each.same], each.text) for each in theirs if each.same in names]
        written = [(names[each.same], each.text) for each in said if each.same in names]
        if len(expected) != len(written):
            return
        for (there, shown), (here, word) in zip(expected, written, strict=True):
            if here != there:
                yield DraftFinding(
                    where=where,
                    problem=OTHER_NAME,
                    written=word,
                    expected=shown,
                    source=passage.source,
                    sentence=sentence,
                )

    def _by_value(
        self, where: str, said: Sequence[Token], places: Sequence[int], sentence: str
    ) -> Iterator[DraftFinding]:
        """Numbers in the author's own sentence: each must stand in the results, in the same unit."""
        taken: set[int] = set()
        for place in places:
            if place in taken or not said[place].is_number:
                continue
            if there := fraction(said, place):
                taken |= {place, *there.places}
                self.compared += len(there.places) + 1
                yield from self._counts(where, said, place, there, sentence)
                continue
            if is_year(said[place]):
                continue
            self.compared += 1
            yield from self._value(where, said, place, sentence)

    def _value(self, where: str, said: Sequence[Token], place: int, sentence: str) -> Iterator[DraftFinding]:
        token, unit, values = said[place], unit_after(said, place), self.sources.values
        if _is_among(token, values.get(unit if unit else "", frozenset())):
            return
        others = [other for other in values if other and other != unit and _is_among(token, values[other])]
        mixed = bool(unit) and bool(others)
        problem = MIXED_UNITS if mixed else NO_SOURCE
        expected = f"{token.text} {others[0]}" if mixed else ""
        yield DraftFinding(
            where=where, problem=problem, written=token.text, expected=expected, source="", sentence=sentence
        )

    def _counts(
        self, where: str, said: Sequence[Token], place: int, there: Fraction, sentence: str
    ) -> Iterator[DraftFinding]:
        """ "50 of 141 patients (35 %, 28–44 %)": one row must hold both counts, in that unit, with share and limits."""
        k, n, unit = said[place].value, said[there.n].value, unit_after(said, there.n)
        written = f"{said[place].text} of {said[there.n].text}"
        rows = [cell for cell in self.sources.counts if (cell.events, cell.n) == (k, n)]
        fitting = [cell for cell in rows if "" in (unit, cell.unit) or unit == cell.unit or unit not in COUNTED]
        about = {"where": where, "sentence": sentence, "source": rows[0].source if rows else ""}
        if not rows:
            yield DraftFinding(problem=NO_SOURCE, written=written, expected="", **about)
        elif not fitting:
            expected = f"{written} {rows[0].unit}"
            yield DraftFinding(problem=MIXED_UNITS, written=f"{written} {unit}", expected=expected, **about)
        else:
            share = 100 * k / n if n else 0.0
            yield from _shares(said, there, fitting, share, about)

    def _table(self, part: DraftTable, own: bool) -> Iterator[DraftFinding]:
        found = self._nearest_table(part)
        if found is None:
            for row in part.rows[1:]:
                for cell in row[1:]:
                    said = tokens(cell)
                    yield from () if own else self._by_value(part.where, said, range(len(said)), " | ".join(row))
            return
        name, expected = found
        yield from self._rows(part, name, expected)

    def _nearest_table(self, part: DraftTable):
        """The table that most cells are from, of those with most of the same headings."""
        head = [exact(tokens(cell)) for cell in part.rows[0]] if part.rows else []
        cells = {exact(tokens(cell)) for row in part.rows for cell in row}
        best, most = None, 0.5
        for name, rows in self.sources.tables.items():
            heads = [exact(tokens(cell)) for cell in rows[0]]
            shared = len({*head} & {*heads}) / max(len(head), 1)
            theirs = {exact(tokens(cell)) for row in rows for cell in row}
            score = shared + len(cells & theirs) / max(len(cells), 1)
            if shared >= 0.5 and score > most:
                best, most = (name, rows), score
        return best

    def _rows(self, part: DraftTable, name: str, expected) -> Iterator[DraftFinding]:
        heads = [exact(tokens(cell)) for cell in expected[0]]
        columns = [
            heads.index(each) if each in heads else None for each in (exact(tokens(cell)) for cell in part.rows[0])
        ]
        yield from self._heads(part, name, expected)
        for theirs, row in paired(expected[1:], part.rows[1:]):
            if theirs is not None:
                yield from self._cells(part, name, expected[0], columns, theirs, row)
                continue
            for cell in row:
                said = tokens(cell)
                yield from self._by_value(part.where, said, range(len(said)), " | ".join(row))

    def _heads(self, part: DraftTable, name: str, expected) -> Iterator[DraftFinding]:
        """Headings that differ from those of the table in a number or a unit alone."""
        if len(part.rows[0]) != len(expected[0]):
            return
        for theirs, head in zip(expected[0], part.rows[0], strict=True):
            yield from self._cell(part.where, tokens(theirs), tokens(head), f"{name}: heading", head)

    def _cells(self, part, name: str, heads, columns, theirs, row) -> Iterator[DraftFinding]:
        line = " | ".join(row)
        for place, cell in enumerate(row):
            column = columns[place] if place < len(columns) else None
            if column is None:
                column = place if len(row) == len(theirs) else None
            if column is not None:
                source = f"{name}: {' '.join(theirs[:1])}, {heads[column]}"
                yield from self._cell(part.where, tokens(theirs[column]), tokens(cell), source, line)

    def _cell(
        self, where: str, theirs: Sequence[Token], said: Sequence[Token], source: str, line: str
    ) -> Iterator[DraftFinding]:
        expected, written = [each for each in theirs if each.is_number], [each for each in said if each.is_number]
        self.compared += len(written)
        for place, token in enumerate(written):
            there = expected[place] if place < len(expected) else None
            if there is None or not (token.value == there.value or is_rounded(token, there.value, there)):
                problem = DISAGREES if there else NO_SOURCE
                yield DraftFinding(
                    where=where,
                    problem=problem,
                    written=token.text,
                    expected=there.text if there else "",
                    source=source,
                    sentence=line,
                )
        for unit, word in units_of(said).items():
            if units_of(theirs) and unit not in units_of(theirs):
                yield DraftFinding(
                    where=where,
                    problem=MIXED_UNITS,
                    written=word,
                    expected=", ".join(units_of(theirs)),
                    source=source,
                    sentence=line,
                )


def _is_among(token: Token, printed: frozenset[str]) -> bool:
    return token.text in printed or numbers.rounded(token.value, token.decimals) in printed


def _shares(
    said: Sequence[Token], there: Fraction, rows: Sequence[Cell], share: float, about: dict[str, str]
) -> Iterator[DraftFinding]:
    """The share and the limits after "k of n": those of one of its rows; without a row's, the plain share."""
    known = [row for row in rows if not math.isnan(row.share)]
    shares = (share, *(row.share for row in known))
    if there.share >= 0 and not any(rounds_to(said[there.share], value) for value in shares):
        yield DraftFinding(problem=DISAGREES, written=f"{said[there.share].text} %", expected=f"{share:.1f} %", **about)
    limited = [row for row in known if not math.isnan(row.low)]
    if there.low < 0 or not limited:
        return
    if not any(rounds_to(said[there.low], row.low) and rounds_to(said[there.high], row.high) for row in limited):
        written = f"{said[there.low].text}–{said[there.high].text}"
        expected = f"{limited[0].low:.1f}–{limited[0].high:.1f}"
        yield DraftFinding(problem=DISAGREES, written=written, expected=expected, **about)
