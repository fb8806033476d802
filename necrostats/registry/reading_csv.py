"""A csv file as written: its encoding and separator found, its rows numbered as a spreadsheet numbers them."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterator
from pathlib import Path

from necrostats.errors import SourceError
from necrostats.registry.privacy.texts import LONGEST_CELL
from necrostats.registry.source_table import Place, RawTable, collect

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


def read_csv(path: Path, table: str, digest) -> RawTable:
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
