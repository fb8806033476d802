"""Tables being made from an export: texts in the codebook's codes, each with the cell it came from."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.export.mapped_sheets import LaidColumn
from necrostats.registry.source_table import objects


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Texts:
    """N texts: `different` (U,) holds each once, the blank one first; `which` (N,) says which of them a row holds."""

    different: np.ndarray
    which: np.ndarray

    @classmethod
    def of(cls, texts: Sequence[str] | np.ndarray) -> Texts:
        """N texts as they are given."""
        return cls.chosen(texts, np.arange(len(texts)))

    @classmethod
    def chosen(cls, listed: Sequence[str] | np.ndarray, which: np.ndarray) -> Texts:
        """For each row the text in `listed` that `which` (N,) points to; the same text may be listed twice."""
        number, different = pd.factorize(objects(["", *listed]))
        return cls(different=np.asarray(different, dtype=object), which=number[1:].astype(np.int32)[which])

    @classmethod
    def everywhere(cls, text: str, rows: int) -> Texts:
        """The same text in every row."""
        return cls.chosen([text], np.zeros(rows, dtype=np.int64))

    @classmethod
    def joined(cls, parts: Sequence[Texts]) -> Texts:
        """Several columns, one below the other."""
        whole = parts[0]
        for part in parts[1:]:
            different, numbers = whole._with(part)
            whole = cls(different=different, which=np.concatenate([whole.which, numbers[part.which]]))
        return whole

    def __len__(self) -> int:
        return len(self.which)

    def plain(self) -> np.ndarray:
        """The texts (N,), one a row."""
        return self.different[self.which]

    @property
    def filled(self) -> np.ndarray:
        """Where (N,) there is a text."""
        return self.which != 0

    def among(self, texts: Collection[str]) -> np.ndarray:
        """Where (N,) the text is one of some."""
        wanted = set(texts)
        return np.array([each in wanted for each in self.different], dtype=bool)[self.which]

    def take(self, rows: np.ndarray) -> Texts:
        """The texts of some rows."""
        return Texts(different=self.different, which=self.which[rows])

    def or_blank(self, rows: np.ndarray) -> Texts:
        """The texts of some rows, blank where a row is -1."""
        return Texts(different=self.different, which=np.append(self.which, np.int32(0))[rows])

    def put(self, rows: np.ndarray, others: Texts) -> Texts:
        """The column with the texts of some rows replaced, one for each of them."""
        different, numbers = self._with(others)
        which = self.which.copy()
        which[rows] = numbers[others.which]
        return Texts(different=different, which=which)

    def differs(self, others: Texts) -> np.ndarray:
        """Where (N,) two columns hold two texts that are not the same; a blank differs from nothing."""
        both = np.flatnonzero(self.filled & others.filled)
        found = np.zeros(len(self), dtype=bool)
        if len(both):
            numbers = self._with(others)[1]
            found[both] = self.which[both] != numbers[others.which[both]]
        return found

    def _with(self, others: Texts) -> tuple[np.ndarray, np.ndarray]:
        """The different texts of both, those of this one first, and the number among them of each of the others'."""
        if others.different is self.different:
            return self.different, np.arange(len(self.different), dtype=np.int32)
        number, different = pd.factorize(np.concatenate([self.different, others.different]))
        return np.asarray(different, dtype=object), number[len(self.different) :].astype(np.int32)


NOWHERE = -1
NO_MAKER = -1  # of rows that no group of rows of the layout made


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Origin:
    """For each row (N,): the number of the export's column a value came from (-1: none), the position in its sheet,
    the rule that read it, and why the cell is not shown (0: it is; DATE, PRIVATE)."""

    column: np.ndarray
    at: np.ndarray
    rule: np.ndarray
    withheld: np.ndarray

    @classmethod
    def none(cls, rows: int) -> Origin:
        """No cell at all."""
        return cls(
            column=np.full(rows, NOWHERE, dtype=np.int32),
            at=np.zeros(rows, dtype=np.int32),
            rule=np.full(rows, "", dtype=object),
            withheld=np.zeros(rows, dtype=np.int8),
        )

    def take(self, rows: np.ndarray) -> Origin:
        """The origins of some rows."""
        return Origin(column=self.column[rows], at=self.at[rows], rule=self.rule[rows], withheld=self.withheld[rows])

    def only(self, rows: np.ndarray) -> Origin:
        """The origins of the rows marked (N,) alone; the others come from nowhere."""
        return self if rows.all() else replace(self, column=np.where(rows, self.column, NOWHERE).astype(np.int32))

    def put(self, rows: np.ndarray, other: Origin) -> Origin:
        """The origins with those of some rows replaced by `other`, one for each of them."""
        made = Origin(
            column=self.column.copy(), at=self.at.copy(), rule=self.rule.copy(), withheld=self.withheld.copy()
        )
        made.column[rows], made.at[rows] = other.column, other.at
        made.rule[rows], made.withheld[rows] = other.rule, other.withheld
        return made


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Days:
    """A date column (N,) as the first and last day it can be: ordinals of the calendar as float, NaN unknown."""

    first: np.ndarray
    last: np.ndarray

    @classmethod
    def unknown(cls, rows: int) -> Days:
        """No date at all."""
        return cls(first=np.full(rows, np.nan), last=np.full(rows, np.nan))

    def take(self, rows: np.ndarray) -> Days:
        """The dates of some rows."""
        return Days(first=self.first[rows], last=self.last[rows])

    @property
    def known(self) -> np.ndarray:
        """Where (N,) there is a date."""
        return ~np.isnan(self.first)

    @property
    def exact(self) -> np.ndarray:
        """Where (N,) it is one day."""
        return self.first == self.last


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Mark:
    """Something to say of some rows `at` of a made table, with the cells it is about.

    `column` is a column of the codebook, or a target; `takes` as in a Flag: "", "cell", "row". `problem` is one
    text, or one a row.
    """

    rule: str
    at: np.ndarray
    column: str
    severity: str
    problem: np.ndarray | str
    origin: Origin
    takes: str = ""
    remedy: str = ""

    def moved(self, to: np.ndarray) -> Mark:
        """The mark after row r became row to[r]; -1: that row is gone, and the mark with it."""
        kept = to[self.at] >= 0
        problem = self.problem if isinstance(self.problem, str) else self.problem[kept]
        return replace(self, at=to[self.at[kept]], origin=self.origin.take(np.flatnonzero(kept)), problem=problem)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Made:
    """A table of N rows. `person` (N,) is the patient, `maker` the group of rows of the layout, `number` that of a
    wide group; `sheet` and `at` say which row of which sheet. `parent` (N,) is the row in sessions, or -1.
    """

    table: Table
    person: np.ndarray
    maker: np.ndarray
    number: np.ndarray
    sheet: np.ndarray
    at: np.ndarray
    texts: dict[str, Texts] = field(default_factory=dict)
    days: dict[str, Days] = field(default_factory=dict)
    origins: dict[str, Origin] = field(default_factory=dict)
    marks: tuple[Mark, ...] = ()
    parent: np.ndarray

    def __len__(self) -> int:
        return len(self.person)

    def text(self, column: str) -> Texts:
        """The texts of a column, blank where nothing filled it."""
        return self.texts.get(column) or Texts.everywhere("", len(self))

    def origin(self, column: str) -> Origin:
        """Where the cells of a column came from."""
        return self.origins.get(column) or Origin.none(len(self))

    def day(self, column: str) -> Days:
        """The dates of a column."""
        return self.days.get(column) or Days.unknown(len(self))

    def with_text(self, column: str, rows: np.ndarray, texts: Texts | str) -> Made:
        """The table with some texts of a column written."""
        written = Texts.everywhere(texts, len(rows)) if isinstance(texts, str) else texts
        return replace(self, texts={**self.texts, column: self.text(column).put(rows, written)})

    def with_all(self, column: str, texts: Texts) -> Made:
        """The table with every text of a column written."""
        return replace(self, texts={**self.texts, column: texts})

    def with_marks(self, *marks: Mark) -> Made:
        """The table with more to say."""
        return replace(self, marks=(*self.marks, *(mark for mark in marks if len(mark.at))))

    def take(self, rows: np.ndarray) -> Made:
        """Some rows, in the order given; each at most once."""
        to = np.full(len(self), NOWHERE)
        to[rows] = np.arange(len(rows))
        return replace(
            self,
            person=self.person[rows],
            maker=self.maker[rows],
            number=self.number[rows],
            sheet=self.sheet[rows],
            at=self.at[rows],
            parent=self.parent[rows],
            texts={name: texts.take(rows) for name, texts in self.texts.items()},
            days={name: days.take(rows) for name, days in self.days.items()},
            origins={name: origin.take(rows) for name, origin in self.origins.items()},
            marks=tuple(mark.moved(to) for mark in self.marks),
        )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Making:
    """All tables being made, the patients' study codes, and the export's columns that origins number."""

    tables: dict[str, Made]
    ids: tuple[str, ...]
    columns: tuple[LaidColumn, ...]

    def with_tables(self, **tables: Made) -> Making:
        """The same with some tables replaced."""
        return replace(self, tables={**self.tables, **tables})


def without(made: Made, home: Mapping[int, int]) -> Made:
    """The table without some rows; what was to be said of them is said of others (row → row)."""
    gone = np.array(sorted(home), dtype=np.int64)
    kept = np.setdiff1d(np.arange(len(made)), gone)
    to = np.full(len(made), NOWHERE)
    to[kept] = np.arange(len(kept))
    to[gone] = to[[home[row] for row in gone.tolist()]]
    taken = replace(made, marks=()).take(kept)
    return replace(taken, marks=tuple(mark.moved(to) for mark in made.marks))


def no_rows(name: str) -> Made:
    """A table with no row yet."""
    none = np.empty(0, dtype=np.int64)
    return Made(table=TABLES[name], person=none, maker=none, number=none, sheet=none, at=none, parent=none)


def joined(parts: Sequence[Made]) -> Made:
    """Several makings of one table, one below the other."""
    held = [part for part in parts if len(part)]
    if len(held) == 1:
        return _with_names_of(held[0], parts)
    sizes = [len(part) for part in parts]
    start = np.cumsum([0, *sizes])
    names = {kind: dict.fromkeys(name for part in parts for name in getattr(part, kind)) for kind in _KINDS}
    marks = [replace(mark, at=mark.at + start[number]) for number, part in enumerate(parts) for mark in part.marks]
    return replace(
        parts[0],
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in _ARRAYS},
        texts={name: Texts.joined([part.text(name) for part in parts]) for name in names["texts"]},
        days={name: _days([part.day(name) for part in parts]) for name in names["days"]},
        origins={name: _origins([part.origin(name) for part in parts]) for name in names["origins"]},
        marks=tuple(marks),
    )


def _with_names_of(made: Made, others: Sequence[Made]) -> Made:
    """A table with a blank column for every name that others have."""
    return replace(
        made,
        **{
            kind: {name: getattr(made, _ONE[kind])(name) for part in (made, *others) for name in getattr(part, kind)}
            for kind in _KINDS
        },
    )


_ONE = {"texts": "text", "days": "day", "origins": "origin"}
_KINDS = ("texts", "days", "origins")
_ARRAYS = ("person", "maker", "number", "sheet", "at", "parent")


def _days(parts: Sequence[Days]) -> Days:
    return Days(
        first=np.concatenate([part.first for part in parts]), last=np.concatenate([part.last for part in parts])
    )


def _origins(parts: Sequence[Origin]) -> Origin:
    return Origin(
        column=np.concatenate([part.column for part in parts]),
        at=np.concatenate([part.at for part in parts]),
        rule=np.concatenate([part.rule for part in parts]),
        withheld=np.concatenate([part.withheld for part in parts]),
    )


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Spread:
    """M new rows: the row (M,) each comes from, and its rank (M,) among those from there, from 0."""

    row: np.ndarray
    rank: np.ndarray


def spread(counts: np.ndarray) -> Spread:
    """Each row as often as `counts` (N,) says."""
    row = np.repeat(np.arange(len(counts)), counts)
    return Spread(row=row, rank=np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts))
