"""What a draft may say: every text and table that the results give, with the source of each number in it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

from necrostats.measures.abstract import CaseSeries
from necrostats.present import documents, numbers, reviewer_questions, table, wording
from necrostats.present.bound import Sentence, rows_of
from necrostats.present.case_series_sentences import result_sentences
from necrostats.present.case_series_texts import Abstract, abstract, method_sentences
from necrostats.present.wording import in_order, plain
from necrostats.report.draft_reading import (
    OUTCOMES,
    UNITS,
    Token,
    fraction,
    sentences,
    tokens,
)
from necrostats.results import Curves, Listing, Rates, Result

Results = Abstract | CaseSeries | Result | Sequence[Result]


@dataclass(frozen=True, kw_only=True, eq=False)
class Passage:
    """A text that may stand in a draft, and for each of its numbers the value and where it came from."""

    text: str
    source: str
    bound: Sentence | None = None

    @cached_property
    def tokens(self) -> tuple[Token, ...]:
        """The text as tokens."""
        return tokens(self.text)

    @cached_property
    def words(self) -> frozenset[str]:
        """The different tokens, numbers as they are printed."""
        return frozenset(exact(self.tokens))

    def source_of(self, place: int) -> tuple[str, float | None]:
        """Where the number at this place of `tokens` came from, and its value before it was rounded, if known."""
        if self.bound is None:
            return self.source, None
        before = sum(token.is_number for token in self.tokens[:place])
        number = self.bound.numbers[before] if before < len(self.bound.numbers) else None
        if number is None:
            return self.source, None
        return number.source, number.value * (100 if number.unit in ("%", "percentage points") else 1)


@dataclass(frozen=True, kw_only=True)
class Cell:
    """A count over a denominator in a result, in its unit, with its share and limits in per cent, NaN for none."""

    events: int
    n: int
    unit: str
    source: str
    share: float = math.nan
    low: float = math.nan
    high: float = math.nan


@dataclass(frozen=True, kw_only=True, eq=False)
class Sources:
    """All that the results give: texts, tables (head and rows), counts, values by unit, and names of groups."""

    passages: tuple[Passage, ...]
    tables: Mapping[str, tuple[tuple[str, ...], ...]]
    counts: tuple[Cell, ...]
    values: Mapping[str, frozenset[str]] = field(repr=False)
    names: Mapping[str, str] = field(repr=False)
    stamp: str = ""

    @cached_property
    def texts(self) -> frozenset[tuple[str, ...]]:
        """Every text as what it is compared by, numbers as printed."""
        return frozenset(exact(passage.tokens) for passage in self.passages)

    @cached_property
    def cells(self) -> frozenset[tuple[str, ...]]:
        """Every cell of every table, in the same form: a table saved as plain text is a line a cell."""
        return frozenset(exact(tokens(cell)) for rows in self.tables.values() for row in rows for cell in row)


def exact(said: Iterable[Token]) -> tuple[str, ...]:
    """Tokens as what they are compared by, numbers as printed."""
    return tuple(token.text if token.is_number else token.same for token in said)


def sources_of(results: Results) -> Sources:
    """The sources of a draft: those of an abstract, a case series, or any results."""
    if isinstance(results, Abstract | CaseSeries):
        return _sources_of_series(results)
    given = [results] if isinstance(results, Result) else list(results)
    return _sources({each.title: each for each in given}, [], {}, "")


@lru_cache(maxsize=4)
def _sources_of_series(results: Abstract | CaseSeries) -> Sources:
    """Made once for each series: a draft is checked again and again while it is mended."""
    text = abstract(results) if isinstance(results, CaseSeries) else results
    return _sources(dict(text.series.results), list(_of_series(text)), _document_tables(text), text.series.stamp)


def _sources(named: dict[str, Result], passages: list[Passage], tables: dict, stamp: str) -> Sources:
    passages += [passage for name, result in named.items() for passage in _of_result(name, result)]
    tables |= {name: _rows(table(result)) for name, result in named.items() if name not in tables}
    return Sources(
        passages=tuple(_distinct(passages)),
        tables=tables,
        counts=(*_counts(named), *_spoken_counts(passages)),
        values=_values(passages, tables),
        names=_names(named),
        stamp=stamp,
    )


def _distinct(passages: Iterable[Passage]) -> Iterator[Passage]:
    """Each text once, the bound one first; then the sentences of those that have several."""
    seen = set()
    whole = sorted(passages, key=lambda passage: passage.bound is None)
    parts = [
        Passage(text=each, source=passage.source)
        for passage in whole
        if passage.bound is None
        for each in sentences(passage.text)
    ]
    for passage in (*whole, *parts):
        if passage.text not in seen:
            seen.add(passage.text)
            yield passage


def _bound(sentence: Sentence, source: str) -> Passage:
    return Passage(text=sentence.text, source=source, bound=sentence)


def _of_series(text: Abstract) -> Iterator[Passage]:
    for sentence in (*method_sentences(text.series), *result_sentences(text.series).values()):
        yield _bound(sentence, "abstract")
    for question in reviewer_questions(text.series).questions:
        if question.answer:
            yield _bound(question.answer, "reviewer's questions")
    for name, section in text.sections.items():
        yield Passage(text=section, source=f"abstract, {name.lower()}")
    for block in documents.blocks(text):
        if isinstance(block, documents.Paragraph):
            yield Passage(text=f"{block.opening} {block.text}".strip(), source=block.source)
        elif isinstance(block, documents.TableBlock):
            yield Passage(text=f"{block.name} {block.table.caption}", source=block.source)
        elif isinstance(block, documents.FigureBlock):
            yield Passage(text=f"{block.name} {block.figure.caption}", source=block.source)
            yield Passage(text=block.figure.caption, source=block.source)


def _document_tables(text: Abstract) -> dict[str, tuple[tuple[str, ...], ...]]:
    return {
        block.source: _rows(block.table) for block in documents.blocks(text) if isinstance(block, documents.TableBlock)
    }


def _rows(shown) -> tuple[tuple[str, ...], ...]:
    return (
        tuple(map(str, shown.frame.columns)),
        *(tuple(map(str, row)) for row in shown.frame.itertuples(index=False)),
    )


def _of_result(name: str, result: Result) -> Iterator[Passage]:
    shown = table(result)
    method = result.method
    said = (
        *wording.findings(result),
        *wording.methods_paragraphs([result]),
        *(wording.ended(part) for part in (method.estimand, method.definition, method.estimator, method.interval)),
        wording.words(result),
        shown.caption,
        *shown.notes,
    )
    yield from (Passage(text=text, source=name) for text in said if text)


def _counts(named: Mapping[str, Result]) -> Iterator[Cell]:
    for name, result in named.items():
        if isinstance(result, Listing | Curves):
            continue
        for row in rows_of(name, result):
            events, n = row.cells.get("events"), row.cells.get("n")
            if numbers.known(events) and numbers.known(n):
                unit = str(row.cells.get("unit") if isinstance(result, Rates) else row.cells.get("of", "patients"))
                where = ", ".join(f"{key} {value}" for key, value in row.key if value)
                limits = {name: _percent(row.cells.get(each)) for name, each in _LIMITS.items()}
                yield Cell(events=int(events), n=int(n), unit=unit, source=f"{name}: {where}", **limits)


_LIMITS = {"share": "estimate", "low": "low", "high": "high"}


def _percent(value: object) -> float:
    return 100 * float(value) if numbers.known(value) else math.nan


def _spoken_counts(passages: Iterable[Passage]) -> Iterator[Cell]:
    """Counts that stand in a sentence of the results and in no table: "24 of 561 sessions"."""
    for passage in passages:
        said = passage.tokens
        for place, token in enumerate(said):
            if token.is_number and (there := fraction(said, place)):
                unit = unit_after(said, there.n)
                yield Cell(events=int(token.value), n=int(said[there.n].value), unit=unit, source=passage.source)


def _of_cell(said: Sequence[Token], found: dict[str, set[str]]) -> None:
    """Of a cell, what has decimals or stands beside a per cent sign: whole numbers alone could be anything."""
    percent = any(token.same == "%" for token in said)
    for token in said:
        if token.is_number and percent:
            found.setdefault("%", set()).add(token.text)
        if token.is_number and token.decimals:
            found[""].add(token.text)


def _values(passages: Iterable[Passage], tables: Mapping[str, tuple]) -> dict[str, frozenset[str]]:
    """The numbers that are printed anywhere, by the unit that stands after them; "" for all."""
    found: dict[str, set[str]] = {"": set()}
    for passage in passages:
        for place, token in enumerate(passage.tokens):
            if token.is_number:
                found[""].add(token.text)
                found.setdefault(unit_after(passage.tokens, place), set()).add(token.text)
    for rows in tables.values():
        for row in rows:
            for said in map(tokens, row):
                _of_cell(said, found)
    return {unit: frozenset(each) for unit, each in found.items()}


def unit_after(said: Sequence[Token], place: int) -> str:
    """The unit of the number at a place: just after it, or after what it is joined to ("50 of 141 patients")."""
    for token in said[place + 1 : place + 6]:
        if token.same == "%":
            return "%"
        if token.same in UNITS:
            return UNITS[token.same]
        if not token.is_number and token.same not in ("of", "to", "and", "the", "all", "necrosectomy"):
            return ""
    return ""


def _names(named: Mapping[str, Result]) -> dict[str, str]:
    """Each word of the names of groups, levels and outcomes, with what it stands for."""
    names: dict[str, str] = {}
    for result in named.values():
        for column in ("level", "variable", "group"):
            if column not in result.frame.columns or isinstance(result, Listing):
                continue
            labels = [plain(each).lower() for each in in_order(result.frame[column])]
            if column == "group":
                names |= {word: word for label in labels for word in label.split() if word.isalpha()}
            else:
                names |= {label: label for label in labels if label.isalpha() and label not in _COMMON}
    kept = {name: stands for name, stands in names.items() if name not in UNITS and name not in _NEVER}
    return kept | OUTCOMES


_NEVER = frozenset(("all", "and", "of", "or", "the", "to", "in", "i", "v", "a"))
_COMMON = frozenset(("other", "no", "yes", "none", "unknown", "site", "sex", "both"))
"""Levels that are also words of any sentence: a change of one of them says nothing."""


def paired(expected: Sequence[Sequence[str]], rows: Sequence[Sequence[str]]) -> Iterator[tuple]:
    """Each row of a draft with the row of the same name, the nearest of several; else with the one in its place."""
    free: dict[tuple, list[int]] = {}
    for place, theirs in enumerate(expected):
        free.setdefault(_row_name(theirs), []).append(place)
    found: list[int | None] = []
    for place, row in enumerate(rows):
        same = free.get(_row_name(row), [])
        found.append(min(same, key=lambda other, place=place: abs(other - place), default=None))
        if found[-1] is not None:
            same.remove(found[-1])
    left = set(range(len(expected))) - set(found)
    for place, (row, there) in enumerate(zip(rows, found, strict=True)):
        chosen = place if there is None and place in left and len(rows) == len(expected) else there
        yield (None if chosen is None else expected[chosen]), row


def _row_name(row: Sequence[str]) -> tuple:
    """What a row is known by: its words, whatever its numbers."""
    return exact(tokens(row[0])), tuple(
        token.same for cell in row[1:] for token in tokens(cell) if token.same not in ("#", "%", "to")
    )
