"""The cells of an export as written, where they stand, and what one cell was read as.

The first row of each group, without sorting.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import zip_longest
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from necrostats.registry.days import DateRange
from necrostats.registry.source_table import numbered, objects

ID_HABITS: Mapping[str, Callable[[str], str]] = {
    "decimals": lambda key: re.sub(r"(?<=[0-9])[.,]0+$", "", key),
    "blanks": lambda key: key.replace(" ", ""),
    "hyphens": lambda key: re.sub(r"[-_/.]", "", key),
    "zeros": lambda key: re.sub(r"(?<![0-9])0+(?=[0-9])", "", key),
}


def letters_of(number: int) -> str:
    """The letters of a column as a spreadsheet shows them: 1 → A, 28 → AB."""
    letters = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def first_rows(group: np.ndarray, groups: int) -> np.ndarray:
    """For each of so many groups the first row that `group` (N,) puts into it; -1 where there is none."""
    first = np.full(groups, -1, dtype=np.int64)
    first[group[::-1]] = np.arange(len(group))[::-1]
    return first


Merge = tuple[int, int, int, int]
COMMENT = ", the comment on "


class RawCell(NamedTuple):
    """A cell: its text, the value if it was not text (number, date, yes/no), its number format, its formula's fate."""

    text: str
    value: object = None
    shown_as: str | None = None
    no_result: bool = False

    @property
    def typed(self) -> object:
        """The number or date where the cell holds one, else the text."""
        return self.text if self.value is None else self.value

    def __repr__(self) -> str:
        return "RawCell: text withheld"


EMPTY = RawCell(text="")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RawColumn:
    """A column: each different cell once, the empty one first; `which` (N,) says which of them a row holds.

    `row` is where the spreadsheet shows its one cell, if that is not where the rows of the sheet say.
    """

    number: int
    cells: tuple[RawCell, ...]
    which: np.ndarray
    hidden: bool = False
    row: int = 0

    @property
    def letters(self) -> str:
        """A, B … as the spreadsheet shows it."""
        return letters_of(self.number)

    def filled(self) -> np.ndarray:
        """Where (N,) there is anything in the cell but blanks."""
        return np.array([bool(cell.text.strip()) or cell.no_result for cell in self.cells])[self.which]

    def texts(self) -> np.ndarray:
        """The texts (N,) as object."""
        return objects(cell.text for cell in self.cells)[self.which]

    def at(self, positions: np.ndarray) -> RawColumn:
        """The same column, some of its rows, with the cells that occur in them in order of appearance."""
        which = np.append(0, self.which[positions])
        first = first_rows(which, len(self.cells))
        order = np.argsort(first, kind="stable")[np.count_nonzero(first < 0) :]
        number = np.zeros(len(self.cells), dtype=np.int32)
        number[order] = np.arange(len(order))
        cells = tuple(map(self.cells.__getitem__, order.tolist()))
        return RawColumn(number=self.number, cells=cells, which=number[which[1:]], hidden=self.hidden, row=self.row)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Comment:
    """A note on a cell: where, and what it says."""

    place: str
    text: str


class OtherText(NamedTuple):
    """A text outside the cells of a workbook: where it stands, after the name of its sheet if it has one."""

    where: str
    text: str
    sheet: str = ""

    def __repr__(self) -> str:
        return "OtherText: text withheld"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Grid:
    """A sheet or a csv file. `rows` (N,) are row numbers as the spreadsheet shows them; empty rows are left out.

    `merges` are (first row, first column, last row, last column). `swallowed` (N,) marks rows of a csv with a cell
    that seems to hold several rows, `widths` (N,) count the cells of its lines. `hidden`: the sheet itself is hidden.
    """

    file: str
    sheet: str = ""
    rows: np.ndarray
    columns: tuple[RawColumn, ...]
    date_system: str = ""
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    merges: tuple[Merge, ...] = ()
    comments: tuple[Comment, ...] = ()
    swallowed: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=bool))
    widths: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    encoding: str = ""

    @property
    def name(self) -> str:
        """What the layout calls it: the sheet, or the csv file without its ending."""
        return self.sheet or self.file.rpartition(".")[0] or self.file


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Export:
    """Everything read from a source: its sheets, the names of its files and sheets, and the texts outside any cell."""

    name: str
    sha256: str
    grids: tuple[Grid, ...]
    files: tuple[str, ...] = ()
    sheets: tuple[str, ...] = ()
    other_texts: tuple[OtherText, ...] = ()
    unread: tuple[str, ...] = ()


class Gathering:
    """Gathers blocks of lines into columns, each different cell stored once; empty lines only count."""

    def __init__(self) -> None:
        self._seen: list[defaultdict[RawCell | str, int]] = []
        self._which: list[list[np.ndarray]] = []
        self._rows: list[np.ndarray] = []
        self._read = 0
        self._kept = 0

    def add(self, lines: Sequence[Sequence[RawCell | str]]) -> None:
        """The next lines of a sheet: texts, or cells, in order of columns."""
        numbers = np.arange(self._read + 1, self._read + 1 + len(lines))
        self._read += len(lines)
        columns = list(zip_longest(*lines, fillvalue=""))
        if not columns or _may_be_blank(columns[0]):
            empty = {place for place, line in enumerate(lines) if not any(map(_holds, line))}
            numbers = np.delete(numbers, list(empty))
            columns = list(zip_longest(*(line for place, line in enumerate(lines) if place not in empty), fillvalue=""))
        if columns:
            self._rows.append(numbers)
            self._number(columns, len(numbers))
            self._kept += len(numbers)

    def _number(self, columns: list[tuple[RawCell | str, ...]], rows: int) -> None:
        while len(columns) > len(self._seen) and not any(map(_holds, columns[-1])):
            columns.pop()
        while len(self._seen) < len(columns):
            self._seen.append(numbered())
            self._which.append([np.zeros(self._kept, dtype=np.int32)])
        columns += [("",) * rows] * (len(self._seen) - len(columns))
        for seen, which, cells in zip(self._seen, self._which, columns, strict=True):
            which.append(np.fromiter(map(seen.__getitem__, cells), np.int32, rows))

    def rows(self) -> np.ndarray:
        """The numbers (N,) of the lines that were not empty."""
        return np.concatenate([*self._rows, np.empty(0, dtype=np.int64)])

    def columns(self, hidden: Iterable[int] = ()) -> tuple[RawColumn, ...]:
        """The columns, numbered from 1; of very many those alone that hold anything, as one stray cell far away may
        stand behind thousands."""
        gone, many = set(hidden), len(self._seen) > _MANY
        return tuple(
            RawColumn(number=number, cells=tuple(map(_cell, seen)), which=np.concatenate(which), hidden=number in gone)
            for number, (seen, which) in enumerate(zip(self._seen, self._which, strict=True), start=1)
            if len(seen) > 1 or not many
        )


_MANY = 256


def _may_be_blank(cells: Sequence[RawCell | str]) -> bool:
    """Quickly, whether any of many cells might be; without a blank first cell no line is empty."""
    return set(map(type, cells)) != {str} or "" in cells or any(map(str.isspace, cells))


def _holds(cell: RawCell | str) -> bool:
    if isinstance(cell, str):
        return bool(cell) and not cell.isspace()
    return bool(cell.text.strip()) or cell.no_result


def _cell(each: RawCell | str) -> RawCell:
    return RawCell(each) if isinstance(each, str) else each


Fills = Mapping[str, str]
DATE, PRIVATE = 1, 2
_NOTHING: Fills = MappingProxyType({})


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Reading:
    """A cell read whole, unknown, or set aside.

    `fills`: column → text in the codebook's codes, for the row the cell stands in. `children`: further rows,
    of instruments, events or collections. `date`: what a date can be. `problem` (then nothing else is filled) and
    `question` continue the sentence that begins with the cell; `note` says what a person should still do, `remedy` what
    to do about the problem where that is not plain from its `code`.
    `withheld`: DATE or PRIVATE, why the cell is not shown. `named`: that the row is there is all the cell says.
    """

    rule: str
    fills: Fills = field(default_factory=lambda: _NOTHING)
    children: tuple[Fills, ...] = ()
    date: DateRange | None = None
    code: str = "NOT_READ"
    problem: str = ""
    question: str = ""
    note: str = ""
    remedy: str = ""
    withheld: int = 0
    named: bool = False

    @property
    def says_something(self) -> bool:
        """Whether the cell gives a value, or would have had it been readable."""
        return bool(self.fills or self.children or self.problem or self.question or self.date or self.named)


BLANK = Reading(rule="blank")
NO_RESULT = Reading(
    rule="set aside", code="NO_RESULT", problem="holds a formula whose result was not kept, or is an error"
)


def refused(problem: str, code: str = "NOT_READ") -> Reading:
    """A cell set aside."""
    return Reading(rule="set aside", problem=problem, code=code)


def number_text(value: float) -> str:
    """A number as the tidy form writes it."""
    return format(value, ".15g")
