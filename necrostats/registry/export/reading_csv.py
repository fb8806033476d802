"""A csv file of an export: its encoding and separator found, every line kept with its number."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import islice
from pathlib import Path

import numpy as np

from necrostats.registry.export.cells import Gathering, Grid, RawColumn
from necrostats.registry.reading_csv import SEPARATORS, encoding_of, lines_of
from necrostats.registry.written import BLOCK, blocks

_LOOKED_AT = 50
_PROGRESS = 1250


def read_csv(path: Path, digest, say: Callable[[str], None]) -> Grid:
    """One csv file as a Grid; its bytes go into `digest`. SourceError if it cannot be read as csv."""
    encoding = encoding_of(path, digest)
    separator = _separator(path, encoding)
    gathering = Gathering()
    with path.open(encoding=encoding, newline="") as text:
        for done, block in enumerate(blocks(lines_of(path.name, text, separator)), start=1):
            gathering.add(block)
            if done % _PROGRESS == 0:
                say(f"reading {path.name}: {done * BLOCK:,} lines")
    columns, rows = gathering.columns(), gathering.rows()
    return Grid(
        file=path.name, rows=rows, columns=columns, encoding=encoding,
        swallowed=_swallowed(columns, separator, len(rows)),
    )  # fmt: skip


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
