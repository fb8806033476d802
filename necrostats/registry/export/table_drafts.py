"""Tables being made from an export: texts in the codebook's codes, each with the cell it came from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.export.mapped_sheets import LaidColumn
from necrostats.registry.export.texts import Texts

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
