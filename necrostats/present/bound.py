"""Sentences whose numbers are bound to the values they came from, so that no number in a text can drift unseen."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import pandas as pd

from necrostats.present import numbers
from necrostats.results import Result

NUMBER = re.compile(rf"(?:{numbers.MINUS}|(?<![\w)])-)?(?:\d{{1,3}}(?:,\d{{3}})+(?!\d)|\d+)(?:\.\d+)?")
"""A number as it is printed: with commas at thousands, a decimal point, and a minus or hyphen that is a sign."""

DEFINITION, TEXT = "definition", "text"


@dataclass(frozen=True, kw_only=True)
class BoundNumber:
    """A number in a sentence: from which measure, row and column, its value, and how it is printed, from `start` on.

    `row` names the row by its columns, such as (("cause", "resolved"), ("days", "90")). `unit` is what is counted or
    measured ("patients", "sessions", "%", "days"); "" for none.
    """

    measure: str
    row: tuple[tuple[str, str], ...]
    column: str
    value: float
    printed: str
    unit: str = ""
    start: int = 0

    @property
    def source(self) -> str:
        """Where it came from, in words."""
        where = ", ".join(f"{name} {value}" for name, value in self.row)
        return f"{self.measure}: {f'{where}: ' if where else ''}{self.column}"


@dataclass(frozen=True, kw_only=True)
class Sentence:
    """A text and its numbers. Every digit of the text belongs to one of them."""

    text: str
    numbers: tuple[BoundNumber, ...] = ()

    def __str__(self) -> str:
        return self.text

    def __bool__(self) -> bool:
        return bool(self.text)


def say(*parts: str | Sentence) -> Sentence:
    """The parts as one sentence; ValueError for a digit that is bound to nothing."""
    text, found = "", []
    for part in parts:
        if isinstance(part, str):
            if re.search(r"\d", part):
                raise ValueError(f'"{part}" holds a number that is bound to no result')
            text += part
            continue
        found += [replace(each, start=each.start + len(text)) for each in part.numbers]
        text += part.text
    return Sentence(text=text, numbers=tuple(found))


def joined(parts: Iterable[Sentence], between: str = ", ", last: str = " and ") -> Sentence:
    """Parts as "a, b and c"."""
    parts = list(parts)
    said: list[str | Sentence] = []
    for place, part in enumerate(parts):
        said += [last if place == len(parts) - 1 else between] if place else []
        said.append(part)
    return say(*said)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row of a result's table, from which numbers are taken by the name of their column."""

    measure: str
    key: tuple[tuple[str, str], ...]
    cells: Mapping[str, object]
    confidence: float

    def __getattr__(self, name: str):
        try:
            return self.cells[name]
        except KeyError:
            raise AttributeError(name) from None

    def bind(self, text: str, *columns: tuple[str, str]) -> Sentence:
        """A printed text whose numbers are, in order, those of these columns, each (column, unit)."""
        return bound(text, self.measure, self.key, [(name, self._value(name), unit) for name, unit in columns])

    def _value(self, column: str) -> float:
        value = self.confidence if column == "method.level" else self.cells[column]
        return float(value) if numbers.known(value) else math.nan

    def count(self, column: str, unit: str) -> Sentence:
        """A whole number."""
        return self.bind(numbers.count(self.cells[column]), (column, unit))

    def percent(self, n: float) -> Sentence:
        """The estimate as a percentage of n."""
        return self.bind(numbers.percent(self.estimate, n), ("estimate", "%"))

    def percent_limits(self, n: float, *, named: bool = False) -> Sentence:
        """The limits of a share as "54–69 %", or named as "95 % CI 54–69 %"; "no interval" where there is none."""
        text = numbers.percent_range(self.estimate, self.low, self.high, n)
        if text == numbers.NO_INTERVAL:
            return say(text)
        return say(*self._named(named), self.bind(text, ("low", "%"), ("high", "%")), " %")

    def reached(self, unit: str, *, named: bool = False) -> Sentence:
        """A median with its limits, as "72 (95 % CI 64–79)"; a limit beyond the data is "not reached"."""
        ends = [(name, numbers.reached(self.cells[name])) for name in ("low", "high")]
        middle = self.bind(numbers.reached(self.estimate), ("estimate", unit))
        if not numbers.known(self.low):
            return say(middle, f" {unit} ({numbers.NO_INTERVAL})")
        shown = [(name, unit) for name, text in ends if text != numbers.NOT_REACHED]
        limits = self.bind(numbers.joined(*(text for _, text in ends)), *shown)
        return say(middle, f" {unit} (", *self._named(named), limits, ")")

    def _named(self, named: bool) -> list[str | Sentence]:
        if not named:
            return []
        return [self.bind(numbers.level_name(self.confidence), ("method.level", "%")), " CI "]


def bound(text: str, measure: str, key: tuple[tuple[str, str], ...], columns: list[tuple[str, float, str]]) -> Sentence:
    """A printed text with its numbers bound in order to (column, value, unit); ValueError if they are not as many."""
    printed = list(NUMBER.finditer(text))
    if len(printed) != len(columns):
        raise ValueError(f'"{text}" holds {len(printed)} numbers, and {len(columns)} were named')
    return Sentence(
        text=text,
        numbers=tuple(
            BoundNumber(
                measure=measure, row=key, column=column, value=value, unit=unit, printed=match[0], start=match.start()
            )
            for match, (column, value, unit) in zip(printed, columns, strict=True)
        ),
    )


def quoted(text: str, measure: str, column: str = TEXT, key: tuple[tuple[str, str], ...] = ()) -> Sentence:
    """A text that stands in a result as it is (a definition, a label, a reference): each number is its own source."""
    columns = [(column, number_in(match[0]), "") for match in NUMBER.finditer(text)]
    return bound(text, measure, key, columns)


def number_in(printed: str) -> float:
    """The value of a number as it is printed."""
    return float(printed.replace(",", "").replace(numbers.MINUS, "-"))


KEYS = ("measure", "variable", "level", "group", "reference", "cause", "days", "sessions", "unit", "stage", "who")
"""The columns by which a row is known, in whatever kind of result."""


def rows_of(measure: str, result: Result, frame: pd.DataFrame | None = None) -> list[Row]:
    """The rows of a result's table (or of another table of it, such as medians), each known by its labels."""
    table = result.frame if frame is None else frame
    axis = ("days", "sessions")
    names = [name for name in KEYS if name in table.columns]
    made = []
    for cells in table.to_dict("records"):
        key = tuple((name, f"{cells[name]}") for name in names if not (name in axis and isinstance(cells[name], float)))
        made.append(Row(measure=measure, key=key, cells=cells, confidence=result.method.level))
    return made


def row_where(rows: list[Row], **labels: object) -> Row | None:
    """The first row with these labels; None if there is none."""
    return next(
        (row for row in rows if all(str(row.cells.get(name)) == str(each) for name, each in labels.items())), None
    )
