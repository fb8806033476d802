"""A table exactly as somebody wrote it: every cell as text, with its file, sheet and spreadsheet row."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
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


MOST_DIGITS = 18
"""The longest number that a group of texts gives as whole numbers of 64 bits."""

_BLOCK = 1 << 16
_DIGITS_OF_32_BITS = 9
_ZERO = np.uint8(ord("0"))
_DIGITS, _ONES = "023456789", "1" * 9
_ANY_DIGIT = str.maketrans(_DIGITS, _ONES)
_ANY_DIGIT_BYTE = bytes.maketrans(_DIGITS.encode(), _ONES.encode())


def shape_of(text: str) -> str:
    """The text with every ASCII digit turned into one."""
    return text.translate(_ANY_DIGIT)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Group:
    """The texts (n,) of one shape, and their places (n,) in the column, in rising order."""

    shape: str
    places: np.ndarray
    column: np.ndarray
    kept: dict[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.places)

    @property
    def texts(self) -> np.ndarray:
        return self.column[self.places]

    @property
    def digits(self) -> int:
        """How many ASCII digits each text holds."""
        return self.shape.count("1")

    def numbers(self) -> np.ndarray:
        """(n,) the digits of each text read as one whole number; for ASCII shapes of up to MOST_DIGITS digits."""
        if self.shape not in self.kept:
            self.kept[self.shape] = self._numbers()
        return self.kept[self.shape]

    def _numbers(self) -> np.ndarray:
        columns = np.array([place for place, each in enumerate(self.shape) if each == "1"], dtype=np.intp)
        kind = np.int32 if self.digits <= _DIGITS_OF_32_BITS else np.int64
        powers = 10 ** np.arange(self.digits - 1, -1, -1, dtype=kind)
        return np.concatenate(
            [(_characters(self.column[block])[:, columns] - _ZERO) @ powers for block in in_blocks(self.places)]
        )


def in_blocks(whole: np.ndarray) -> Iterator[np.ndarray]:
    """An array piece by piece, so that what is made of it takes little room."""
    yield from (whole[start : start + _BLOCK] for start in range(0, len(whole), _BLOCK))


def _characters(texts: np.ndarray) -> np.ndarray:
    """The characters of ASCII texts of one length: (n, length)."""
    return np.frombuffer("".join(texts).encode("ascii"), dtype=np.uint8).reshape(len(texts), -1)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Shaped:
    """The texts (U,) of a column, their shapes, each once, and which of them each text has (U,); -1 = left out."""

    texts: np.ndarray
    shapes: tuple[str, ...]
    which: np.ndarray
    kept: dict[str, np.ndarray] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(np.count_nonzero(self.which >= 0))

    def without(self, shapes: Iterable[bool]) -> Shaped:
        """The same with the texts of some shapes (S,) left out."""
        left_out = np.array([*shapes, False], dtype=bool)
        if not left_out.any():
            return self
        return replace(self, which=np.where(left_out[self.which], -1, self.which))

    def groups(self) -> Iterator[Group]:
        """The texts of each shape, in the order of the shapes."""
        kept = np.flatnonzero(self.which >= 0)
        which = self.which[kept]
        places = kept if (np.diff(which) >= 0).all() else kept[np.argsort(which, kind="stable")]
        sizes = np.bincount(which, minlength=len(self.shapes))
        for number, end in zip(np.flatnonzero(sizes), np.cumsum(sizes[sizes > 0]), strict=True):
            mine = places[end - sizes[number] : end]
            yield Group(shape=self.shapes[number], places=mine, column=self.texts, kept=self.kept)


def shaped(texts: Sequence[str] | Shaped) -> Shaped:
    """Texts with their shapes."""
    if isinstance(texts, Shaped):
        return texts
    column = np.asarray(texts, dtype=object)
    seen: defaultdict[str, int] = defaultdict()
    seen.default_factory = seen.__len__
    which = np.concatenate([np.empty(0, np.int32), *(_which(block, seen) for block in in_blocks(column))])
    return Shaped(texts=column, shapes=tuple(seen), which=which)


def _which(block: np.ndarray, seen: Mapping[str, int]) -> np.ndarray:
    """Which shape each text of a block has, the block turned to shapes all at once."""
    whole = "\n".join(block).encode("utf-8", "surrogatepass").translate(_ANY_DIGIT_BYTE) + b"\n"
    first = whole[: whole.index(b"\n") + 1]
    if whole == first * len(block):
        return np.full(len(block), seen[_decoded(first)[:-1]], dtype=np.int32)
    shapes = _decoded(whole).split("\n")[:-1]
    if len(shapes) != len(block):
        shapes = map(shape_of, block)
    return np.fromiter(map(seen.__getitem__, shapes), np.int32, len(block))


def _decoded(shapes: bytes) -> str:
    return shapes.decode("utf-8", "surrogatepass")
