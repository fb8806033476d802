"""An export written out as tidy csv files, with the ledger, what was set aside and every finding beside them."""

from __future__ import annotations

import csv
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import NecrostatsError, SourceError
from necrostats.registry.codebook import TABLES, Table
from necrostats.registry.columns import LATEST
from necrostats.registry.defusing import defused
from necrostats.registry.export.counting import Counts, counts_of
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.ledger import COLUMNS as LEDGER_COLUMNS
from necrostats.registry.export.ledger import ledger_parts
from necrostats.registry.export.loading import ReadExport, read_with_layout
from necrostats.registry.kept_aside import FINDINGS, LEDGER, SET_ASIDE
from necrostats.registry.tables import Registry

_PROGRESS = 1_000_000


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
            yield _write(folder / f"{name}.csv", *tidy_lines(read.registry.tables[name], table))


def tidy_lines(frame: pd.DataFrame, table: Table) -> tuple[Sequence[str], Iterable[Sequence[str]]]:
    """The heading and the lines of a tidy table; the partner of a day only where it is used."""
    names = [
        column.name for column in table.all_columns
        if not column.name.endswith(LATEST) or frame[column.name].notna().any()
    ]  # fmt: skip
    return names, _lines([_texts(frame[name]) for name in names])


def _lines(columns: Sequence[np.ndarray]) -> Iterable[Sequence[str]]:
    return zip(*columns, strict=True)


def _texts(values: pd.Series) -> np.ndarray:
    """A column as text: blank for unknown, yes and no, numbers without a needless .0, the rest defused."""
    known = values.notna().to_numpy(dtype=bool)
    texts = np.full(len(values), "", dtype=object)
    held = values[known]
    if isinstance(held.dtype, pd.CategoricalDtype) or pd.api.types.is_string_dtype(held.dtype) or held.dtype == object:
        which, different = pd.factorize(held.to_numpy(dtype=object))
        texts[known] = np.array([defused(str(value)) for value in different], dtype=object)[which]
    elif pd.api.types.is_bool_dtype(held.dtype):
        texts[known] = np.where(held.to_numpy(dtype=bool), "yes", "no")
    elif pd.api.types.is_integer_dtype(held.dtype):
        texts[known] = [str(value) for value in held]
    else:
        texts[known] = [repr(float(value)).removesuffix(".0") for value in held]
    return texts


def _beside(read: ReadExport, folder: Path, say: Callable[[str], None]) -> Iterable[Path]:
    yield _write(folder / LEDGER, LEDGER_COLUMNS, _ledger_lines(read, say))
    for name, frame in ((SET_ASIDE, read.registry.set_aside), (FINDINGS, read.registry.findings)):
        yield _write(folder / name, list(frame.columns), _lines_of(frame))
    if read.reshaped.key:
        key = folder.resolve().parent / f"{folder.resolve().name}-private-period-key.csv"
        yield _write(key, ("quarter", "period"), read.reshaped.key.items())


def _ledger_lines(read: ReadExport, say: Callable[[str], None]) -> Iterable[Sequence[str]]:
    told = 0
    for part in ledger_parts(read):
        yield from _lines_of(part)
        told += len(part)
        if told >= _PROGRESS:
            say(f"writing {LEDGER}: {told:,} lines")


def _lines_of(frame: pd.DataFrame) -> Iterable[Sequence[str]]:
    return _lines([_texts(frame[column]) for column in frame.columns])


def _write(path: Path, heading: Sequence[str], lines: Iterable[Sequence[str]]) -> Path:
    """A csv file written beside its name and moved into place."""
    unfinished = path.with_name(f".{path.name}.unfinished")
    with unfinished.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(heading)
        writer.writerows(lines)
    unfinished.replace(path)
    return path


def _remove_old(folder: Path, files: Sequence[Path]) -> None:
    """A table that an earlier run left and this one does not have would be read as part of this registry."""
    for name in TABLES:
        path = folder / f"{name}.csv"
        if path not in files and path.exists():
            path.unlink()
