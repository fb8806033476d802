"""Files to cells as written: a tidy source or any export, csv files with their encoding and separator found.

What was set aside when a tidy folder was made is read with it: its set_aside.csv is part of the registry.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
from array import array
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import pandas as pd

from necrostats.errors import SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import Export, Gathering, Grid, OtherText, RawColumn
from necrostats.registry.findings import SCOPES, findings_frame, no_findings
from necrostats.registry.messages import FINDINGS_WORKBOOK
from necrostats.registry.privacy import Sheet, Suspicion, find_identifiers
from necrostats.registry.privacy.columns import LONGEST_CELL
from necrostats.registry.reading_xlsx import read_workbook, read_xlsx
from necrostats.registry.source_table import BLOCK, Place, RawTable, blocks, collect
from necrostats.registry.tables import SET_ASIDE_COLUMNS, nothing_set_aside
from necrostats.registry.text import undefused

LEDGER, SET_ASIDE, FINDINGS = "ledger.csv", "set_aside.csv", "findings.csv"
WITHHELD_NAME = "name withheld"
BESIDE = (LEDGER, SET_ASIDE, FINDINGS, FINDINGS_WORKBOOK)
"""Files that `necrostats tidy` writes beside the tables."""


def set_aside_before(source: str | Path) -> pd.DataFrame:
    """The list of what was set aside on the way to a tidy folder; empty if there is none.

    SourceError if the file is not such a list. What looks like an identifier in it is withheld.
    """
    path = Path(source) / SET_ASIDE
    if not path.is_file():
        return nothing_set_aside()
    try:
        listed = pd.read_csv(path, dtype=object, keep_default_na=False, encoding="utf-8-sig")
        sound = list(listed.columns) == list(SET_ASIDE_COLUMNS) and _is_ours(listed)
        rows = pd.to_numeric(listed["row"].replace("", None)).astype("Int64") if sound else None
    except (ValueError, TypeError, OSError) as error:
        raise SourceError(_not_a_list(path)) from error
    if rows is None:
        raise SourceError(_not_a_list(path))
    listed = _without_identifiers(listed)
    text = [name for name in SET_ASIDE_COLUMNS if name != "row"]
    plain = {name: [undefused(str(cell)) for cell in listed[name]] for name in text}
    plain["patient_id"] = [each or None for each in plain["patient_id"]]
    frame = pd.DataFrame({**plain, "row": rows}, dtype=object)[list(SET_ASIDE_COLUMNS)]
    return frame.astype({**dict.fromkeys(text, object), "row": "Int64"})


def _is_ours(listed: pd.DataFrame) -> bool:
    rules = listed["rule"].astype(str).str.fullmatch(r"[A-Z][A-Z0-9_]{1,40}")
    return bool((listed["table"].isin(list(TABLES)) & listed["scope"].isin(SCOPES) & rules).all())


def _not_a_list(path: Path) -> str:
    return f"{path.name} is not the list that necrostats writes. Make the folder again, or take the file out of it."


def _without_identifiers(listed: pd.DataFrame) -> pd.DataFrame:
    """The list without what looks like an identifier: a name, or a code, is withheld, and its row stays.

    What tidying wrote is never refused: the names of the unit's own files and columns tell how a unit writes them.
    """
    kept = listed.copy()
    for column in ("file", "sheet", "column"):
        suspect = [name for name in kept[column].unique() if _found([], heading=str(name))]
        kept[column] = kept[column].where(~kept[column].isin(suspect), WITHHELD_NAME)
    ids = list(kept["patient_id"].unique())
    found = _found([str(each) for each in ids])
    whole = any(each.row is None for each in found)
    suspect = ids if whole else [ids[each.row - 2] for each in found]
    kept["patient_id"] = kept["patient_id"].where(~kept["patient_id"].isin(suspect), "")
    return kept


def _found(ids: Sequence[str], heading: str = "") -> list[Suspicion]:
    header = ["patient_id", *([heading] if heading else [])]
    sheet = Sheet(file=SET_ASIDE, name="", header=header, columns={"patient_id": list(ids)})
    return find_identifiers([sheet], id_columns=("patient_id",))


def count(number: int, one: str, many: str) -> str:
    """A number with its noun: "1 row", "2 rows"."""
    return f"{number:,} {one if number == 1 else many}"


def about_before(aside: pd.DataFrame, name: str) -> pd.DataFrame:
    """One note that says how much was set aside before."""
    if aside.empty:
        return no_findings()
    rows = int((aside["scope"] == "row").sum())
    return findings_frame(
        row=[pd.NA],
        severity="notes",
        scope="table",
        rule="SET_ASIDE_BEFORE",
        file=name,
        problem=f"{count(rows, 'row', 'rows')} and {count(len(aside) - rows, 'cell', 'cells')} were set aside when "
        "these tables were made",
        remedy=f"{SET_ASIDE} lists them. They still count as known to be missing.",
    )


SEPARATORS = (",", ";", "\t")
_BLOCK = 1 << 20
_LONGEST_CELL = 1 << 17
MOST_COLUMNS = 16_384  # as many as a spreadsheet can show
_TOO_WIDE = f"No spreadsheet shows more than {MOST_COLUMNS:,}: is it a table with rows and columns exchanged?"
_NOT_TEXT = {
    b"PK\x03\x04": "a workbook or zip archive",
    b"\xd0\xcf\x11\xe0": "an old or password-protected workbook",
    b"%PDF": "a PDF document",
    b"\x1f\x8b": "a compressed file",
}
_FIELD_LIMIT = "field limit"
_TOO_LONG = (
    f"a cell is longer than a cell can be ({LONGEST_CELL:,} characters). Shorten the text, or take it out of the file."
)
_UNPAIRED = (
    "the quotation marks do not pair up, so the end of a cell cannot be found. "
    'Close the quotation mark, or write it twice ("") inside a cell.'
)
_MARKUP = (b"<!doctype", b"<html", b"<table", b"<?xml")


def read_tidy_csv(path: Path, table: str, digest) -> RawTable:
    """One csv file as a RawTable; its bytes go into `digest`. SourceError if it cannot be read as csv."""
    encoding = encoding_of(path, digest)
    header = _header_line(path, encoding)
    separator = max(SEPARATORS, key=header.count)
    place = Place(table=table, file=path.name, decimal_comma=separator == ";", encoding=encoding)
    with path.open(encoding=encoding, newline="") as text:
        return collect(place, lines_of(path.name, text, separator), separator)


def encoding_of(path: Path, digest) -> str:
    """Reads the whole file once: hashes it, refuses what is not text, and finds the encoding."""
    with path.open("rb") as file:
        start = file.read(1024)
    _refuse_other_kinds(path.name, start)
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        candidates = ["utf-16"]
    else:
        candidates = ["utf-8-sig" if start.startswith(codecs.BOM_UTF8) else "utf-8", "cp1252"]
    decoders = {name: codecs.getincrementaldecoder(name)() for name in candidates}
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
            if "utf-16" not in decoders and b"\0" in block:
                raise SourceError(f"{path.name} is not a text file: it holds NUL bytes. Save it as CSV UTF-8.")
            decoders = {name: decoder for name, decoder in decoders.items() if _decodes(decoder, block)}
    fitting = [name for name, decoder in decoders.items() if _decodes(decoder, b"", final=True)]
    if not fitting:
        raise SourceError(f"{path.name}: its letters cannot be made out. Save it as CSV UTF-8.")
    return fitting[0]


def _decodes(decoder, block: bytes, final: bool = False) -> bool:
    try:
        return "\0" not in decoder.decode(block, final)
    except UnicodeDecodeError:
        return False


def _refuse_other_kinds(name: str, start: bytes) -> None:
    if not start.strip(b"\0\t\r\n " + codecs.BOM_UTF8):
        raise SourceError(f"{name} is empty. Save the table into it again, or take the file out of the folder.")
    for mark, kind in _NOT_TEXT.items():
        if start.startswith(mark):
            raise SourceError(f"{name} is not a csv file but {kind}. Save the sheet as CSV UTF-8.")
    if start.lstrip(codecs.BOM_UTF8 + b" \t\r\n").lower().startswith(_MARKUP):
        raise SourceError(f"{name} is not a csv file but a web page or XML. Save the sheet as CSV UTF-8.")


def _header_line(path: Path, encoding: str) -> str:
    with path.open(encoding=encoding) as text:
        return text.readline(_LONGEST_CELL)


def lines_of(name: str, text, separator: str) -> Iterator[list[str]]:
    """The rows of the file; a row with no end, or with a cell too long, is refused with the number of the row."""
    reader = csv.reader(text, delimiter=separator, strict=True)
    number, read = 1, 0
    try:
        for line in reader:
            if len(line) > MOST_COLUMNS:
                raise SourceError(f"{name}, row {number}: has {len(line):,} cells. {_TOO_WIDE}")
            yield line
            number, read = number + 1, reader.line_num
    except csv.Error as error:
        too_long = _FIELD_LIMIT in str(error) and reader.line_num - read <= 1
        raise SourceError(f"{name}, row {number}: {_TOO_LONG if too_long else _UNPAIRED}") from error


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
                tables[table] = read_tidy_csv(each, table, digest)
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
    digest, grids, sheets, texts, problems = hashlib.sha256(), [], [], [], []
    for file in files:
        say(f"reading {file.name}")
        try:
            with _plainly(file.name):
                if file.suffix.lower() in BOOK:
                    book = read_xlsx(file, digest)
                    grids += book.grids
                    sheets += book.names
                    texts += book.other_texts
                else:
                    grids.append(read_csv(file, digest, say))
        except SourceError as error:
            problems.append(str(error))
    if problems:
        raise SourceError("\n".join(problems))
    name = path.resolve().name
    folder = [OtherText("the name of the source", name)] if path.is_dir() else []
    return Export(
        name=name,
        sha256=digest.hexdigest(),
        grids=tuple(grids),
        files=tuple(file.name for file in files),
        sheets=tuple(sheets),
        other_texts=tuple(dict.fromkeys([*folder, *texts])),
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
