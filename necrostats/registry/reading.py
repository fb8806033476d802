"""Finds the tables of a tidy source, a folder of csv files or one workbook, and reads them as written."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from necrostats.errors import SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.earlier_set_aside import BESIDE
from necrostats.registry.reading_csv import read_csv
from necrostats.registry.reading_xlsx import read_workbook
from necrostats.registry.source_table import RawTable

_BY_LAYOUT = "Any other export needs a layout: necrostats draft-layout proposes one."
_DATA = (".csv", ".tsv", ".txt", ".xlsx", ".xls", ".xlsm", ".ods")


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class RawSource:
    """The tables found, as written; the files or sheets nobody knows; the hash of all bytes read."""

    name: str
    sha256: str
    tables: Mapping[str, RawTable]
    strangers: tuple[str, ...] = ()
    hidden_rows: int = 0
    comments: bool = False


def read_source(source: str | Path) -> RawSource:
    """A folder of csv files named after the nine tables, or an .xlsx with sheets so named, every cell as text.

    SourceError, one line a file, if there is nothing there to read or a file is not what its name says.
    """
    path = Path(source)
    with _plainly(path.name or str(source)):
        if path.is_dir():
            return _folder(path)
        if not path.exists():
            raise SourceError(f"{path} does not exist. Give a folder of csv files, or an .xlsx workbook.")
        if path.suffix.lower() in (".xlsx", ".xlsm"):
            return _workbook(path)
    raise SourceError(f"{path.name} cannot be read as a registry. {_instead(path)}")


def _instead(path: Path) -> str:
    if path.suffix.lower() == ".csv":
        return f"It is one table: give the folder that holds the tables, {path.parent.resolve().name}."
    return "Give a folder of csv files named after the tables (patients.csv …), or an .xlsx workbook."


@contextmanager
def _plainly(name: str) -> Iterator[None]:
    """A file that the system will not give up is a SourceError like any other."""
    try:
        yield
    except OSError as error:
        where = Path(str(error.filename)).name if error.filename else name
        raise SourceError(f"{where} cannot be opened: {(error.strerror or 'unknown reason').lower()}.") from error


def _folder(path: Path) -> RawSource:
    files = [each for each in sorted(path.iterdir()) if not each.name.startswith((".", "~$"))]
    named = [(_table_of(each), each) for each in files]
    known = [(table, each) for table, each in named if table]
    _refuse_twice(known)
    if not known:
        raise SourceError(_nothing_in(path, files))
    digest, tables, problems = hashlib.sha256(), {}, []
    for table, each in known:
        try:
            with _plainly(each.name):
                tables[table] = read_csv(each, table, digest)
        except SourceError as error:
            problems.append(str(error))
    if problems:
        raise SourceError("\n".join(problems))
    others = [each for table, each in named if not table and each.name not in BESIDE]
    strangers = tuple(each.name for each in others if each.suffix.lower() in _DATA)
    return RawSource(name=path.resolve().name, sha256=digest.hexdigest(), tables=_in_order(tables), strangers=strangers)


def _table_of(path: Path) -> str:
    stem = "_".join(path.stem.casefold().split())
    return stem if path.suffix.lower() == ".csv" and stem in TABLES else ""


def _refuse_twice(known: list[tuple[str, Path]]) -> None:
    tables = [table for table, _ in known]
    for table, path in known:
        if tables.count(table) > 1:
            raise SourceError(f"{path.name}: two files hold the table {table}. Take one out of the folder.")


def _nothing_in(path: Path, files: list[Path]) -> str:
    books = [each.name for each in files if each.suffix.lower() == ".xlsx"]
    hint = f" To read a workbook, name it: {path.name}/{books[0]}." if books else ""
    return (
        f"{path.name} holds no table of a registry: no patients.csv, collections.csv, sessions.csv.{hint} {_BY_LAYOUT}"
    )


def _workbook(path: Path) -> RawSource:
    digest = hashlib.sha256()
    book = read_workbook(path, {name: name for name in TABLES}, digest)
    tables = {raw.place.table: raw for raw in book.tables}
    if not tables:
        raise SourceError(
            f"{path.name} has no sheet named after a table: patients, collections, sessions … {_BY_LAYOUT}"
        )
    return RawSource(
        name=path.name,
        sha256=digest.hexdigest(),
        tables=_in_order(tables),
        strangers=book.other_sheets,
        hidden_rows=book.hidden_rows,
        comments=book.comments,
    )


def _in_order(tables: Mapping[str, RawTable]) -> dict[str, RawTable]:
    return {name: tables[name] for name in TABLES if name in tables}
