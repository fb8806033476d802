"""Finds the sheets and csv files of an export and reads every cell of them as written.

A csv file of an export: its encoding and separator found, every line kept with its number.
"""

from __future__ import annotations

import hashlib
from array import array
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from pathlib import Path

import numpy as np

from necrostats.errors import SourceError
from necrostats.registry.export.cells import Export, Gathering, Grid, RawColumn
from necrostats.registry.export.reading_xlsx import read_xlsx
from necrostats.registry.reading_csv import SEPARATORS, encoding_of, lines_of
from necrostats.registry.source_table import BLOCK, blocks

_LOOKED_AT = 50
_PROGRESS = 1250


def read_csv(path: Path, digest, say: Callable[[str], None]) -> Grid:
    """One csv file as a Grid; its bytes go into `digest`. SourceError if it cannot be read as csv."""
    encoding = encoding_of(path, digest)
    separator = _separator(path, encoding)
    gathering, widths = Gathering(), array("I")
    with path.open(encoding=encoding, newline="") as text:
        for done, block in enumerate(blocks(lines_of(path.name, text, separator)), start=1):
            gathering.add(block)
            widths.extend(map(len, block))
            if done % _PROGRESS == 0:
                say(f"reading {path.name}: {done * BLOCK:,} lines")
    columns, rows = gathering.columns(), gathering.rows()
    return Grid(
        file=path.name,
        rows=rows,
        columns=columns,
        encoding=encoding,
        swallowed=_swallowed(columns, separator, len(rows)),
        widths=np.array(widths, dtype=np.int64)[rows - 1],
    )


def _separator(path: Path, encoding: str) -> str:
    """The separator that stands most often in the first lines."""
    with path.open(encoding=encoding) as text:
        start = "".join(islice((line[:10_000] for line in text), _LOOKED_AT))
    return max(SEPARATORS, key=start.count)


def _swallowed(columns: Sequence[RawColumn], separator: str, rows: int) -> np.ndarray:
    """Rows with a cell of several lines that hold as many separators as a row: a stray quotation mark ate them."""
    found = np.zeros(rows, dtype=bool)
    enough = max(len(columns) - 1, 1)
    for column in columns:
        ate = np.array(["\n" in cell.text and cell.text.count(separator) >= enough for cell in column.cells])
        found |= ate[column.which]
    return found


TEXT, BOOK = (".csv", ".tsv", ".txt"), (".xlsx", ".xlsm")
LEFT_ALONE = (".toml", ".md")


def quietly(line: str) -> None:
    """Says nothing."""


def read_export(source: str | Path, *, say: Callable[[str], None] = quietly) -> Export:
    """A csv file, a workbook, or a folder of them, every cell as written; nothing in it is carried out.

    SourceError, one line a file, if there is nothing to read or a file is not what its name says. `say` is told
    what is being read.
    """
    path = Path(source)
    with _plainly(path.name):
        if not path.exists():
            raise SourceError(f"{path} does not exist. Give a workbook, a csv file, or a folder of them.")
        files = _files(path)
    digest, grids, texts, problems = hashlib.sha256(), [], [], []
    for file in files:
        say(f"reading {file.name}")
        try:
            with _plainly(file.name):
                if file.suffix.lower() in BOOK:
                    book = read_xlsx(file, digest)
                    grids += book.grids
                    texts += book.other_texts
                else:
                    grids.append(read_csv(file, digest, say))
        except SourceError as error:
            problems.append(str(error))
    if problems:
        raise SourceError("\n".join(problems))
    names = [("the name of the source", path.stem), *(("the name of a file", file.stem) for file in files)]
    return Export(
        name=path.resolve().name,
        sha256=digest.hexdigest(),
        grids=tuple(grids),
        other_texts=tuple(dict.fromkeys([*names, *texts])),
        unread=_unread(path),
    )


def _files(path: Path) -> list[Path]:
    if not path.is_dir():
        if path.suffix.lower() not in (*TEXT, *BOOK):
            raise SourceError(f"{path.name} is neither a workbook (.xlsx) nor a csv file. Save it as one of them.")
        return [path]
    files = [each for each in _inside(path) if each.suffix.lower() in (*TEXT, *BOOK)]
    if not files:
        raise SourceError(f"{path.name} holds neither a workbook (.xlsx) nor a csv file.")
    return files


def _inside(path: Path) -> list[Path]:
    return [each for each in sorted(path.iterdir()) if each.is_file() and not each.name.startswith((".", "~$"))]


def _unread(path: Path) -> tuple[str, ...]:
    if not path.is_dir():
        return ()
    return tuple(each.name for each in _inside(path) if each.suffix.lower() not in (*TEXT, *BOOK, *LEFT_ALONE))


@contextmanager
def _plainly(name: str) -> Iterator[None]:
    """A file that the system will not give up is a SourceError like any other."""
    try:
        yield
    except OSError as error:
        where = Path(str(error.filename)).name if error.filename else name
        raise SourceError(f"{where} cannot be opened: {(error.strerror or 'unknown reason').lower()}.") from error
