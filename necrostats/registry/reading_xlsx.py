"""A workbook as written: the kept result of every cell as text, nothing evaluated, nothing trusted about its size."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from pathlib import Path

import numpy as np
from openpyxl import load_workbook

from necrostats.errors import SourceError
from necrostats.registry.source_table import Place, RawTable, collect

MOST_BYTES = 1 << 30
MOST_ROWS = 1_048_576
_HIDDEN_ROW = re.compile(rb'<(?:\w+:)?row\b[^>]*\bhidden="(?:1|true)"')
_FORMULA = re.compile(rb"<(?:\w+:)?f[\s>/]")
_DOCTYPE = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, eq=False)
class Workbook:
    """The sheets wanted, the names of the others, and what a reader should know about the file."""

    tables: tuple[RawTable, ...]
    other_sheets: tuple[str, ...]
    hidden_rows: int
    comments: bool


@dataclass(frozen=True, kw_only=True)
class _Inside:
    formulas: bool
    hidden_rows: int
    comments: bool


def read_workbook(path: Path, wanted: dict[str, str], digest) -> Workbook:
    """The sheets whose folded name is in `wanted` (folded sheet name → table); its bytes go into `digest`.

    SourceError if the file is not a readable workbook.
    """
    refuse_other_kinds(path)
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    try:
        inside = look_inside(path)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(path, wanted, inside)
    except SourceError:
        raise
    except Exception as error:  # a damaged workbook makes openpyxl raise nearly anything
        raise SourceError(f"{path.name} is damaged and cannot be read. Open it, and save it again as .xlsx.") from error


def refuse_other_kinds(path: Path) -> None:
    """SourceError for a file that is no workbook, whatever its name says, or one under a password."""
    with path.open("rb") as file:
        start = file.read(8)
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        raise SourceError(
            f"{path.name} is protected by a password, or an old .xls. Save it as .xlsx without a password."
        )
    if not start.startswith(b"PK") or not zipfile.is_zipfile(path):
        what = "empty" if not start else "not a workbook, whatever its name says, or is cut short"
        raise SourceError(f"{path.name} is {what}. Save the sheets as .xlsx again.")


def look_inside(path: Path) -> _Inside:
    """What openpyxl does not tell, and what must be known before it is let loose on the file."""
    formulas, hidden, comments = False, 0, False
    with zipfile.ZipFile(path) as archive:
        members = archive.infolist()
        if sum(member.file_size for member in members) > MOST_BYTES:
            raise SourceError(
                f"{path.name} unpacks to more than 1 GB. Save each sheet as CSV UTF-8 and give the folder."
            )
        for member in members:
            comments |= "comments" in member.filename.lower()
            if not member.filename.endswith((".xml", ".rels")):
                continue
            sheet = member.filename.startswith("xl/worksheets/")
            for part in _parts(archive, member, whole=sheet):
                if _DOCTYPE.search(part):
                    raise SourceError(
                        f"{path.name} defines XML entities, which no spreadsheet does. It was not opened."
                    )
                formulas |= sheet and bool(_FORMULA.search(part))
                hidden += len(_HIDDEN_ROW.findall(part)) if sheet else 0
    return _Inside(formulas=formulas, hidden_rows=hidden, comments=comments)


def _parts(archive: zipfile.ZipFile, member: zipfile.ZipInfo, whole: bool) -> Iterator[bytes]:
    """The member in parts that end at a tag, so that no tag is cut in two; only the start unless `whole`."""
    rest = b""
    with archive.open(member) as file:
        while block := file.read(1 << 20):
            block = rest + block
            cut = block.rfind(b">") + 1 or len(block)
            yield block[:cut]
            rest = block[cut:]
            if not whole:
                break
    yield rest


def _read(path: Path, wanted: dict[str, str], inside: _Inside) -> Workbook:
    book = load_workbook(path, read_only=True, data_only=True)
    try:
        names = {sheet.title: wanted.get(_folded(sheet.title)) for sheet in book.worksheets}
        _refuse_twice(path, names)
        tables = [_table(book, title, table, path) for title, table in names.items() if table]
        if inside.formulas:
            tables = _mark_formulas(path, tables)
    finally:
        book.close()
    others = tuple(title for title, table in names.items() if not table)
    return Workbook(tables=tuple(tables), other_sheets=others, hidden_rows=inside.hidden_rows, comments=inside.comments)


def _folded(title: str) -> str:
    return "_".join(title.casefold().split())


def _refuse_twice(path: Path, names: dict[str, str | None]) -> None:
    found = [table for table in names.values() if table]
    if twice := sorted({table for table in found if found.count(table) > 1}):
        raise SourceError(f'{path.name} has two sheets named "{twice[0]}". Rename or remove one of them.')


def _table(book, title: str, table: str, path: Path) -> RawTable:
    lines = ([as_text(value) for value in row] for row in _rows(book, title, path))
    return collect(Place(table=table, file=path.name, sheet=title), lines)


def _rows(book, title: str, path: Path) -> Iterator[tuple]:
    sheet = book[title]
    sheet.reset_dimensions()
    for number, row in enumerate(sheet.iter_rows(values_only=True), start=1):
        if number > MOST_ROWS:
            raise SourceError(f'{path.name}, sheet "{title}" claims more rows than a sheet can have. It is damaged.')
        yield row


def as_text(value: object) -> str:
    """A cell's value as a person would write it: 12 for 12.0, an ISO date for a date, "" for nothing."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return format(value, ".15g")
    if isinstance(value, date | time | timedelta):
        return _calendar(value)
    return str(value)


def _calendar(value: date | time | timedelta) -> str:
    return f"0000-00-00 {value}" if isinstance(value, time | timedelta) else str(value)


def _mark_formulas(path: Path, tables: list[RawTable]) -> list[RawTable]:
    """Cells that hold a formula and no kept result look blank: they are marked, never taken as unknown."""
    book = load_workbook(path, read_only=True, data_only=False)
    try:
        return [replace(table, formulas=_formulas(book, table, path)) for table in tables]
    finally:
        book.close()


def _formulas(book, table: RawTable, path: Path) -> dict[str, np.ndarray]:
    rows = _rows(book, table.place.sheet, path)
    header = [as_text(value).strip() for value in next(rows)]
    position = {int(row): place for place, row in enumerate(table.rows)}
    found: dict[str, list[int]] = {}
    for number, row in enumerate(rows, start=2):
        for name, value in zip(header, row, strict=False):
            at = position.get(number)
            if name and at is not None and _is_formula(value) and not table.columns[name].which[at]:
                found.setdefault(name, []).append(at)
    return {name: np.array(at, dtype=np.int64) for name, at in found.items()}


def _is_formula(value: object) -> bool:
    return (isinstance(value, str) and value.startswith("=")) or hasattr(value, "ref")
