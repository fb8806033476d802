"""Csv files as hospitals save them: encodings, separators, quotation marks, and files that are something else."""

from __future__ import annotations

import gzip
import hashlib

import pytest

from necrostats.errors import SourceError
from necrostats.registry.reading_csv import read_csv


def read(tmp_path, content: bytes | str):
    path = tmp_path / "reviews.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_csv(path, "reviews", hashlib.sha256())


def cells(raw, column):
    return raw.columns[column].at(range(len(raw))).tolist() if len(raw) else []


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_every_encoding_a_spreadsheet_writes_gives_the_same_text(tmp_path, encoding):
    raw = read(tmp_path, "patient_id,reason\nP1,Übelkeit\n".encode(encoding))
    assert cells(raw, "reason") == ["Übelkeit"]
    assert list(raw.columns) == ["patient_id", "reason"]
    assert raw.place.encoding == encoding


@pytest.mark.parametrize(("separator", "decimal_comma"), [(",", False), (";", True), ("\t", False)])
def test_the_separator_is_found_from_the_header(tmp_path, separator, decimal_comma):
    raw = read(tmp_path, f"a{separator}b\n1{separator}2\n")
    assert cells(raw, "b") == ["2"]
    assert raw.place.decimal_comma is decimal_comma


def test_rows_are_numbered_as_a_spreadsheet_shows_them(tmp_path):
    raw = read(tmp_path, 'a,b\n1,"two\nlines"\n\n , \n3,4\n')
    assert raw.rows.tolist() == [2, 5]
    assert cells(raw, "b") == ["two\nlines", "4"]


def test_line_ends_of_every_system_are_read(tmp_path):
    assert read(tmp_path, "a,b\r\n1,2\r\n").rows.tolist() == [2]
    assert read(tmp_path, "a,b\r1,2\r3,4\r").rows.tolist() == [2, 3]


def test_cells_stay_as_written(tmp_path):
    raw = read(tmp_path, "a,b\n 007 ,NA\n1.50,\n")
    assert cells(raw, "a") == [" 007 ", "1.50"]
    assert cells(raw, "b") == ["NA", ""]


def test_a_header_alone_is_a_table_without_rows(tmp_path):
    assert len(read(tmp_path, "a,b\n")) == 0


def test_the_bytes_go_into_the_digest(tmp_path):
    path = tmp_path / "reviews.csv"
    path.write_bytes(b"a,b\n1,2\n")
    digest = hashlib.sha256()
    read_csv(path, "reviews", digest)
    assert digest.hexdigest() == hashlib.sha256(b"a,b\n1,2\n").hexdigest()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"\xef\xbb\xbf\r\n \r\n", "is empty"),
        (b"PK\x03\x04rest of a workbook", "a workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "password-protected workbook"),
        (b"  <HTML><table>", "a web page"),
        (b"%PDF-1.7", "a PDF"),
        (gzip.compress(b"a,b", mtime=0), "a compressed file"),
        (b"a,b\n1,\x002\n", "NUL bytes"),
        ("a,b\n1,2\n".encode("utf-16-le"), "NUL bytes"),
        (b"\xff\xfea\x00,\x00b", "cannot be made out"),
        (b"a,b\n\x81\x8d,2\n", "cannot be made out"),
        (b"\nx,y\n", "row 1 is blank"),
        (b",,\n1,2,3\n", "row 1 is blank"),
        (b"day,Day \n1,2\n", '"day" heads two columns'),
        (b'a,b\n1,2\n3,"4\n', "row 3"),
        (b'a,b\n1,"2"x\n', "row 2"),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_line(tmp_path, content, said):
    with pytest.raises(SourceError, match=said) as caught:
        read(tmp_path, content)
    assert "\n" not in str(caught.value)
    assert "reviews.csv" in str(caught.value)


@pytest.mark.parametrize("cell", ["x" * 140_000, '"' + "x" * 140_000 + '"'])
def test_a_cell_longer_than_a_cell_can_be_is_called_that(tmp_path, cell):
    with pytest.raises(SourceError) as caught:
        read(tmp_path, f"a,b\n1,2\n3,{cell}\n")
    assert "reviews.csv, row 3: a cell is longer than a cell can be (32,767 characters)." in str(caught.value)
    assert "quotation" not in str(caught.value)


def test_a_quotation_mark_that_swallows_the_rows_below_it_is_still_called_that(tmp_path):
    with pytest.raises(SourceError, match="row 2: the quotation marks do not pair up"):
        read(tmp_path, 'a,b\n1,"2\n' + "3,4\n" * 40_000)
