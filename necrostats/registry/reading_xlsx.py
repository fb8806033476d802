"""Workbooks to cells as written: a tidy one, or any export with its formats, merges, comments and hidden parts.

What a workbook's own XML says about a sheet and openpyxl's quick reader does not: hidden, merged, commented.
"""

from __future__ import annotations

import posixpath
import re
import warnings
import zipfile
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
from openpyxl import load_workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from necrostats.errors import SourceError
from necrostats.registry.export.cells import COMMENT, Comment, Gathering, Grid, Merge, OtherText, RawCell
from necrostats.registry.source_table import Place, RawTable, blocks, collect
from necrostats.registry.text import as_code
from necrostats.registry.words import is_program

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
        names = {sheet.title: wanted.get(as_code(sheet.title)) for sheet in book.worksheets}
        _refuse_twice(path, names)
        tables = [_table(book, title, table, path) for title, table in names.items() if table]
        if inside.formulas:
            tables = _mark_formulas(path, tables)
    finally:
        book.close()
    others = tuple(title for title, table in names.items() if not table)
    return Workbook(tables=tuple(tables), other_sheets=others, hidden_rows=inside.hidden_rows, comments=inside.comments)


def _refuse_twice(path: Path, names: dict[str, str | None]) -> None:
    found = [table for table in names.values() if table]
    if twice := sorted({table for table in found if found.count(table) > 1}):
        raise SourceError(f'{path.name} has two sheets named "{twice[0]}". Rename or remove one of them.')


def _table(book, title: str, table: str, path: Path) -> RawTable:
    with zipfile.ZipFile(path) as archive:
        marks_of(archive, book[title]._worksheet_path)  # its rows and cells stand in order, or it is damaged
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


_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_MOST_MERGES = 100_000


@dataclass(frozen=True, kw_only=True)
class Marks:
    """Row and column numbers from 1; `no_result` are (row, column) of formulas without a kept result."""

    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    merges: tuple[Merge, ...] = ()
    no_result: frozenset[tuple[int, int]] = frozenset()
    comments: tuple[Comment, ...] = ()
    other_texts: tuple[str, ...] = ()


def marks_of(archive: zipfile.ZipFile, part: str) -> Marks:
    """The marks of the sheet stored in a part of a workbook. The file must have been looked at for entities before."""
    hidden_rows, hidden_columns, merges, no_result, texts = set(), set(), [], set(), []
    row, column = 0, (0, "")
    with archive.open(part) as file:
        for event, element in ElementTree.iterparse(file, ("start", "end")):
            name = _name(element)
            if event == "start":
                if name == "row":
                    row, column = _next_row(element, row), (0, "")
                    if element.get("hidden") in ("1", "true"):
                        hidden_rows.add(row)
                continue
            if name == "col" and element.get("hidden") in ("1", "true"):
                first, last = int(element.get("min", 0)), int(element.get("max", 0))
                hidden_columns.update(range(first, min(last, 16384) + 1))
            elif name == "mergeCell" and len(merges) < _MOST_MERGES:
                merges += _area(element.get("ref", ""))
            elif name == "c":
                column = _next_column(element, row, column)
                no_result.update(_without_result(element))
            elif name in ("oddHeader", "oddFooter", "evenHeader", "evenFooter", "firstHeader", "firstFooter"):
                texts.append(element.text or "")
            if name in ("row", "mergeCell", "col"):
                element.clear()
    comments, drawn = _beside(archive, part)
    return Marks(
        hidden_rows=frozenset(hidden_rows),
        hidden_columns=frozenset(hidden_columns),
        merges=tuple(merges),
        no_result=frozenset(no_result),
        comments=comments,
        other_texts=(*texts, *drawn),
    )


def _next_row(element: ElementTree.Element, before: int) -> int:
    """The number of a row. ValueError if it is not below the one before: openpyxl would leave it out unsaid."""
    row = int(element.get("r") or before + 1)
    if row <= before:
        raise ValueError("rows or cells that say a place where they do not stand")
    return row


def _next_column(cell: ElementTree.Element, row: int, before: tuple[int, str]) -> tuple[int, str]:
    """The column of a cell, to be compared. ValueError if it is not right of the one before, in its own row."""
    reference = cell.get("r")
    if not reference:
        return before
    letters = reference.rstrip("0123456789")
    column = len(letters), letters
    elsewhere = row <= MOST_ROWS and reference[len(letters) :] != str(row)
    if column <= before or elsewhere:
        raise ValueError("rows or cells that say a place where they do not stand")
    return column


def _name(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2]


def place_of(reference: str) -> tuple[int, int] | None:
    """Row and column of "B5"; None for anything else."""
    found = _CELL.fullmatch(reference.replace("$", ""))
    if not found:
        return None
    column = 0
    for letter in found[1]:
        column = column * 26 + ord(letter) - 64
    return int(found[2]), column


def _area(reference: str) -> list[Merge]:
    first, _, last = reference.partition(":")
    start, end = place_of(first), place_of(last or first)
    return [(*start, *end)] if start and end else []


def _without_result(cell: ElementTree.Element) -> list[tuple[int, int]]:
    """The place of a formula whose result was not kept; an empty text is a result."""
    inside = {_name(child): child.text or "" for child in cell}
    if "f" not in inside or inside.get("v") or "is" in inside or ("v" in inside and cell.get("t") == "str"):
        return []
    place = place_of(cell.get("r", ""))
    return [place] if place else []


def _beside(archive: zipfile.ZipFile, part: str) -> tuple[tuple[Comment, ...], tuple[str, ...]]:
    """The comments of a sheet, and the texts in its drawings."""
    comments, texts = [], []
    for target in _related(archive, part):
        if "comments" in target.lower():
            comments += _comments(archive, target)
        elif "drawing" in target.lower() and target.endswith(".xml"):
            texts += all_texts(archive, target, only=("t",))
    return tuple(comments), tuple(texts)


def _related(archive: zipfile.ZipFile, part: str) -> Iterator[str]:
    folder, _, name = part.rpartition("/")
    links = f"{folder}/_rels/{name}.rels"
    if links not in archive.namelist():
        return
    for link in ElementTree.fromstring(archive.read(links)):
        target = link.get("Target", "")
        if link.get("TargetMode") != "External":
            path = target.lstrip("/") if target.startswith("/") else posixpath.normpath(f"{folder}/{target}")
            if path in archive.namelist():
                yield path


def _comments(archive: zipfile.ZipFile, part: str) -> Iterator[Comment]:
    for element in ElementTree.fromstring(archive.read(part)).iter():
        if _name(element) in ("comment", "threadedComment"):
            text = "".join(each.text or "" for each in element.iter() if _name(each) in ("t", "text"))
            yield Comment(place=element.get("ref", ""), text=text)


def all_texts(archive: zipfile.ZipFile, part: str, only: Collection[str] = ()) -> list[str]:
    """Every text in a part of the workbook, or those of some elements; none if it is not sound XML."""
    try:
        root = ElementTree.fromstring(archive.read(part))
    except ElementTree.ParseError:
        return []
    said = (element for element in root.iter() if not only or _name(element) in only)
    return [element.text.strip() for element in said if element.text and element.text.strip()]


_PROPERTIES = ("docProps/", "xl/persons/", "xl/externalLinks/")
_QUOTED = re.compile(r'"[^"]*"|\\.')
_NO_PROPERTY = re.compile(r"[0-9.:TZ+-]+|true|false|Worksheets|Normal", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Book:
    """The sheets, the names of all (charts among them), and the texts outside their cells."""

    grids: tuple[Grid, ...]
    names: tuple[str, ...]
    other_texts: tuple[OtherText, ...]


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
            return _read_book(path, archive)
    except (SourceError, OSError):
        raise
    except Exception as error:  # a damaged workbook makes openpyxl raise nearly anything
        raise SourceError(f"{path.name} is damaged and cannot be read. Open it, and save it again as .xlsx.") from error


def _read_book(path: Path, archive: zipfile.ZipFile) -> Book:
    book = load_workbook(path, read_only=True, data_only=True)
    try:
        system = "1904" if book.epoch == CALENDAR_MAC_1904 else "1900"
        grids, texts = [], [*_properties(archive), *(OtherText("a defined name", name) for name in book.defined_names)]
        for sheet in book.worksheets:
            marks = marks_of(archive, sheet._worksheet_path)
            grids.append(_grid(path, sheet, marks, system))
            texts += [OtherText(f"{COMMENT}{each.place}", each.text, sheet.title) for each in marks.comments]
            texts += [OtherText(", outside its cells", text, sheet.title) for text in marks.other_texts]
        names = tuple(book.sheetnames)
    finally:
        book.close()
    return Book(grids=tuple(grids), names=names, other_texts=tuple(texts))


def _properties(archive: zipfile.ZipFile) -> Iterator[OtherText]:
    for part in archive.namelist():
        if part.startswith(_PROPERTIES) and part.endswith(".xml"):
            for text in all_texts(archive, part):
                if not (_NO_PROPERTY.fullmatch(text) or is_program(text)):
                    yield OtherText("the properties of the workbook", text)


def _grid(path: Path, sheet, marks: Marks, system: str) -> Grid:
    sheet.reset_dimensions()
    gathering = Gathering()
    for block in blocks(_lines(path, sheet, marks)):
        gathering.add(block)
    return Grid(
        file=path.name,
        sheet=sheet.title,
        rows=gathering.rows(),
        columns=gathering.columns(marks.hidden_columns),
        date_system=system,
        hidden=sheet.sheet_state != "visible",
        hidden_rows=marks.hidden_rows,
        merges=marks.merges,
        comments=marks.comments,
    )


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
