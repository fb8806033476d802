"""An export written out as tidy csv files, with the ledger, what was set aside and every finding beside them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import NecrostatsError, SourceError
from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.columns import LATEST
from necrostats.registry.export.counting import Counts, counts_of
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.ledger import COLUMNS as LEDGER_COLUMNS
from necrostats.registry.export.ledger import ledger_parts
from necrostats.registry.export.loading import ReadExport, read_with_layout
from necrostats.registry.export.writing import texts_of, write_csv
from necrostats.registry.kept_aside import FINDINGS, LEDGER, SET_ASIDE
from necrostats.registry.tables import Registry

_PROGRESS = 1_000_000
_AT_ONCE = 100_000


@dataclass(frozen=True, kw_only=True)
class Tidied:
    """What was written: the registry, the files, and what became of every cell and row."""

    registry: Registry
    files: tuple[Path, ...]
    counts: Counts


def _quietly(line: str) -> None:
    """Says nothing."""


def tidy(
    source: str | Path, layout: str | Path | Layout, to: str | Path, *, accepted: Collection[str] = (),
    say: Callable[[str], None] = _quietly,
) -> Tidied:  # fmt: skip
    """Write the nine tables, ledger.csv, set_aside.csv and findings.csv into a folder; the same input, the same bytes.

    None of them holds a calendar date. With private periods their key is written beside the folder, not in it.
    Raises as `read_with_layout` does; nothing is written then.
    """
    folder = Path(to)
    _refuse_folder(folder, Path(source))
    read = read_with_layout(source, layout, accepted=accepted, say=say)
    say(f"writing {folder.name}")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files = [*_tables(read, folder), *_beside(read, folder, say)]
        _remove_old(folder, files)
    except OSError as error:
        raise SourceError(f"{folder} cannot be written: {(error.strerror or 'unknown reason').lower()}.") from error
    return Tidied(registry=read.registry, files=tuple(files), counts=counts_of(read))


def _refuse_folder(folder: Path, source: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise NecrostatsError(f"{folder} is a file. Give a folder to write to.")
    if source.is_dir() and folder.resolve() == source.resolve():
        raise NecrostatsError("The tidy files cannot go into the folder of the export. Give another folder.")


def _tables(read: ReadExport, folder: Path) -> Iterable[Path]:
    for name, table in TABLES.items():
        if read.draft[name].given:
            yield _written(folder / f"{name}.csv", _as_used(read.registry.tables[name], table))


def _as_used(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """A tidy table with the partner of a day only where it is used."""
    return frame[[
        column.name for column in table.all_columns
        if not column.name.endswith(LATEST) or frame[column.name].notna().any()
    ]]  # fmt: skip


def _written(path: Path, frame: pd.DataFrame) -> Path:
    blocks = (frame.iloc[first : first + _AT_ONCE] for first in range(0, len(frame), _AT_ONCE))
    return write_csv(path, frame.columns, ([texts_of(block[name]) for name in frame.columns] for block in blocks))


def _beside(read: ReadExport, folder: Path, say: Callable[[str], None]) -> Iterable[Path]:
    yield write_csv(folder / LEDGER, LEDGER_COLUMNS, _ledger(read, say))
    yield _written(folder / SET_ASIDE, read.registry.set_aside)
    yield _written(folder / FINDINGS, read.registry.findings)
    if read.reshaped.key:
        key = folder.resolve().parent / f"{folder.resolve().name}-private-period-key.csv"
        yield _written(key, pd.DataFrame(read.reshaped.key.items(), columns=["quarter", "period"]))


def _ledger(read: ReadExport, say: Callable[[str], None]) -> Iterable[Sequence[np.ndarray]]:
    told = 0
    for part in ledger_parts(read):
        yield [texts_of(part[name]) if name == "row" else part[name].to_numpy() for name in part.columns]
        told += len(part)
        if told >= _PROGRESS:
            say(f"writing {LEDGER}: {told:,} lines")


def _remove_old(folder: Path, files: Sequence[Path]) -> None:
    """A table that an earlier run left and this one does not have would be read as part of this registry."""
    for name in TABLES:
        path = folder / f"{name}.csv"
        if path not in files and path.exists():
            path.unlink()
