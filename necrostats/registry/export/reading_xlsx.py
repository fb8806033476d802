"""A workbook of an export: every sheet, hidden or not, each cell with its kept result and its number format."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path

from openpyxl import load_workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from necrostats.errors import SourceError
from necrostats.registry.export.cells import Gathering, Grid, RawCell
from necrostats.registry.export.programs import is_program
from necrostats.registry.export.sheet_marks import Marks, all_texts, marks_of
from necrostats.registry.reading_xlsx import MOST_ROWS, as_text, look_inside, refuse_other_kinds
from necrostats.registry.written import blocks

_PROPERTIES = ("docProps/", "xl/persons/", "xl/externalLinks/")
_QUOTED = re.compile(r'"[^"]*"|\\.')
_NO_PROPERTY = re.compile(r"[0-9.:TZ+-]+|true|false|Worksheets|Normal", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Book:
    """The sheets, and the texts (where, text) outside their cells."""

    grids: tuple[Grid, ...]
    other_texts: tuple[tuple[str, str], ...]


def read_xlsx(path: Path, digest) -> Book:
    """Every sheet of a workbook; its bytes go into `digest`. SourceError if it is not a readable workbook."""
    refuse_other_kinds(path)
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    try:
        look_inside(path)
        with warnings.catch_warnings(), zipfile.ZipFile(path) as archive:
            warnings.simplefilter("ignore")
            return _read(path, archive)
    except (SourceError, OSError):
        raise
    except Exception as error:  # a damaged workbook makes openpyxl raise nearly anything
        raise SourceError(f"{path.name} is damaged and cannot be read. Open it, and save it again as .xlsx.") from error


def _read(path: Path, archive: zipfile.ZipFile) -> Book:
    book = load_workbook(path, read_only=True, data_only=True)
    try:
        system = "1904" if book.epoch == CALENDAR_MAC_1904 else "1900"
        grids, texts = [], [*_properties(archive), *(("a defined name", name) for name in book.defined_names)]
        for sheet in book.worksheets:
            marks = marks_of(archive, sheet._worksheet_path)
            grids.append(_grid(path, sheet, marks, system))
            texts += [(f'sheet "{sheet.title}", the comment on {each.place}', each.text) for each in marks.comments]
            texts += [(f'sheet "{sheet.title}", outside its cells', text) for text in marks.other_texts]
        texts += [("the name of a sheet", title) for title in book.sheetnames]
    finally:
        book.close()
    return Book(grids=tuple(grids), other_texts=tuple(texts))


def _properties(archive: zipfile.ZipFile) -> Iterator[tuple[str, str]]:
    for part in archive.namelist():
        if part.startswith(_PROPERTIES) and part.endswith(".xml"):
            for text in all_texts(archive, part):
                if not (_NO_PROPERTY.fullmatch(text) or is_program(text)):
                    yield "the properties of the workbook", text


def _grid(path: Path, sheet, marks: Marks, system: str) -> Grid:
    sheet.reset_dimensions()
    gathering = Gathering()
    for block in blocks(_lines(path, sheet, marks)):
        gathering.add(block)
    return Grid(
        file=path.name, sheet=sheet.title, rows=gathering.rows(), columns=gathering.columns(marks.hidden_columns),
        date_system=system, hidden=sheet.sheet_state != "visible", hidden_rows=marks.hidden_rows, merges=marks.merges,
        comments=marks.comments,
    )  # fmt: skip


def _lines(path: Path, sheet, marks: Marks) -> Iterator[list[RawCell | str]]:
    for number, line in enumerate(sheet.iter_rows(), start=1):
        if number > MOST_ROWS:
            raise SourceError(f'{path.name}, sheet "{sheet.title}" claims more rows than a sheet can have.')
        yield _cells(number, line, marks)


def _cells(row: int, line: Sequence, marks: Marks) -> list[RawCell | str]:
    if not marks.no_result:
        return [_cell(cell) for cell in line]
    return [
        RawCell(text="", no_result=True) if (row, column) in marks.no_result else _cell(cell)
        for column, cell in enumerate(line, start=1)
    ]


def _cell(cell) -> RawCell | str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    text = as_text(value)
    if isinstance(value, datetime | date):
        return RawCell(text=text, value=value, shown_as=cell.number_format)
    if isinstance(value, bool | time | timedelta):
        return RawCell(text=text)
    if not isinstance(value, int | float):
        return ""
    if "%" in _QUOTED.sub("", cell.number_format or ""):
        return f"{as_text(float(value * 100))}%"
    return RawCell(text=text, value=value)
