"""A table exactly as somebody wrote it: every cell as text, with its file, sheet and spreadsheet row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice

import numpy as np

from necrostats.errors import SourceError

BLOCK = 200  # fewer lists than make the garbage collector look through everything there is


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Written:
    """One column as written: `texts` (U,) holds each text once, "" first; `which` (N,) says which a row holds."""

    texts: np.ndarray
    which: np.ndarray

    def at(self, rows: np.ndarray) -> np.ndarray:
        """The texts (object) of some rows."""
        return self.texts[self.which[rows]]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Place:
    """Where a table was found, and whether its numbers may hold a decimal comma."""

    table: str
    file: str
    sheet: str = ""
    decimal_comma: bool = False
    encoding: str = ""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RawTable:
    """A table as written. `rows` (N,) are spreadsheet row numbers (the header is row 1), blank rows left out.

    `columns` are by header as written, trimmed; `unnamed` are the numbers of columns that hold something under no
    header; `long` and `swallowed` (positions in `rows`) have more cells than headers, or cells that seem to
    hold several rows. `formulas` maps a column to positions whose formula keeps no result.
    """

    place: Place
    rows: np.ndarray
    columns: Mapping[str, Written]
    unnamed: tuple[int, ...] = ()
    long: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    swallowed: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    formulas: Mapping[str, np.ndarray] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.rows)


def collect(place: Place, lines: Iterator[Sequence[str]], separator: str = "") -> RawTable:
    """Every line of a sheet, header first, as a RawTable; SourceError if the header cannot be used."""
    header = [cell.strip() for cell in next(lines, ())]
    _refuse_header(place, header)
    block = _Columns(len(header), exact=bool(separator))
    for chunk in blocks(lines):
        block.add(chunk)
    columns = block.columns()
    return RawTable(
        place=place,
        rows=block.row_numbers(),
        columns={name: column for name, column in zip(header, columns, strict=True) if name},
        unnamed=tuple(
            number + 1
            for number, (name, column) in enumerate(zip(header, columns, strict=True))
            if not name and any(map(str.strip, column.texts))
        ),
        long=np.array(block.long, dtype=np.int64),
        swallowed=_swallowed(columns, separator),
    )


def _refuse_header(place: Place, header: list[str]) -> None:
    where = f'{place.file}, sheet "{place.sheet}"' if place.sheet else place.file
    if not any(header):
        raise SourceError(f"{where}: row 1 is blank. It should name the columns.")
    named = [name.casefold() for name in header if name]
    twice = sorted({name for name in named if named.count(name) > 1})
    if twice:
        raise SourceError(f'{where}, row 1: "{twice[0]}" heads two columns. Rename or remove one of them.')


def blocks(lines: Iterator[Sequence]) -> Iterator[list[Sequence]]:
    """Lines in lists of at most `BLOCK`."""
    while block := list(islice(lines, BLOCK)):
        yield block


def _is_blank(line: Sequence[str]) -> bool:
    return not (line and line[0].strip()) and not "".join(line).strip()


class _Columns:
    """Gathers blocks of lines into columns, each text stored once."""

    def __init__(self, width: int, *, exact: bool) -> None:
        self.width = width
        self.exact = exact
        self.read = 0
        self.kept = 0
        self.long: list[int] = []
        self._seen = [numbered() for _ in range(width)]
        self._which: list[list[np.ndarray]] = [[] for _ in range(width)]
        self._rows: list[np.ndarray] = []

    def add(self, block: list[Sequence[str]]) -> None:
        numbers = np.arange(self.read + 2, self.read + 2 + len(block))
        self.read += len(block)
        blank = {number for number, line in enumerate(block) if _is_blank(line)}
        if blank:
            numbers = np.delete(numbers, list(blank))
            block = [line for number, line in enumerate(block) if number not in blank]
        if not block:
            return
        if set(map(len, block)) != {self.width}:
            block = [self._fitted(line, self.kept + number) for number, line in enumerate(block)]
        self._rows.append(numbers)
        self.kept += len(block)
        for seen, which, cells in zip(self._seen, self._which, zip(*block, strict=True), strict=True):
            which.append(np.fromiter(map(seen.__getitem__, cells), np.int32, len(cells)))

    def _fitted(self, line: Sequence[str], position: int) -> list[str]:
        if (self.exact and len(line) != self.width) or any(map(str.strip, line[self.width :])):
            self.long.append(position)
        return [*line[: self.width], *[""] * (self.width - len(line))]

    def columns(self) -> list[Written]:
        return [
            Written(texts=objects(seen), which=smallest(np.concatenate([*which, np.empty(0, np.int32)])))
            for seen, which in zip(self._seen, self._which, strict=True)
        ]

    def row_numbers(self) -> np.ndarray:
        return np.concatenate([*self._rows, np.empty(0, np.int64)])


def smallest(whole: np.ndarray) -> np.ndarray:
    """The same whole numbers (-1 and up) in as few bytes each as will hold them."""
    return whole.astype(np.min_scalar_type(-1 - int(whole.max(initial=0))))


def numbered() -> defaultdict[str, int]:
    """A dictionary that numbers what is looked up in it: "" is 0, the next new text 1 …"""
    seen: defaultdict[str, int] = defaultdict()
    seen.default_factory = seen.__len__
    seen[""]
    return seen


def objects(given: Iterable[object]) -> np.ndarray:
    """An array (n,) that holds things as they are, whatever they are."""
    listed = list(given)
    array = np.empty(len(listed), dtype=object)
    array[:] = listed
    return array


def _swallowed(columns: list[Written], separator: str) -> np.ndarray:
    """Rows with a cell of several lines that hold as many separators as a row: a stray quotation mark ate them."""
    enough = max(len(columns) - 1, 1)
    found = [np.empty(0, np.int64)]
    for column in columns if separator else ():
        ate = [number for number, text in enumerate(column.texts) if "\n" in text and text.count(separator) >= enough]
        if ate:
            found.append(np.flatnonzero(np.isin(column.which, ate)))
    return np.unique(np.concatenate(found))
