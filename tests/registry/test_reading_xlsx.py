"""Workbooks: values as a person would write them, and files that no spreadsheet program saved."""

from __future__ import annotations

import hashlib
import zipfile
from datetime import date, datetime, time

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.packaging.core import DocumentProperties

from builders.exports import HEADINGS, INDEX, WIDE, wide_line
from builders.registry_files import faultless, write_workbook
from necrostats.errors import RegistryError, SourceError
from necrostats.registry import reading_xlsx
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout
from necrostats.registry.reading import read_export
from necrostats.registry.reading_xlsx import as_text, read_workbook
from necrostats.registry.words import is_program

WANTED = {"reviews": "reviews"}


def saved(tmp_path, rows, title="Reviews"):
    book = Workbook()
    book.active.title = title
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / "unit.xlsx")
    return tmp_path / "unit.xlsx"


def read(path):
    return read_workbook(path, WANTED, hashlib.sha256())


def rewritten(path, member, change):
    """The workbook with the bytes of one member of its archive changed."""
    with zipfile.ZipFile(path) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    held[member] = change(held[member])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in held.items():
            archive.writestr(name, content)
    return path


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (12, "12"),
        (12.0, "12"),
        (0.1 + 0.2, "0.3"),
        (-3.5, "-3.5"),
        (True, "true"),
        ("x ", "x "),
        (datetime(2026, 3, 1), "2026-03-01 00:00:00"),
        (date(2026, 3, 1), "2026-03-01"),
        (time(10, 30), "0000-00-00 10:30:00"),
        (1e20, "1e+20"),
    ],
)
def test_a_value_becomes_the_text_a_person_would_write(value, text):
    assert as_text(value) == text


def test_sheets_are_found_whatever_their_case_and_others_are_named(tmp_path):
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 4.0], [None, None], ["P2", "5"]])
    book = load_workbook(path)
    book.create_sheet("Notes to self")
    book.save(path)
    found = read(path)
    raw = found.tables[0]
    assert raw.place.table == "reviews" and raw.place.sheet == "Reviews"
    assert raw.rows.tolist() == [2, 4]
    assert raw.columns["day"].at(np.arange(2)).tolist() == ["4", "5"]
    assert found.other_sheets == ("Notes to self",)


def test_a_formula_without_a_kept_result_is_marked_not_taken_as_blank(tmp_path):
    raw = read(saved(tmp_path, [["patient_id", "day"], ["P1", "=1+1"], ["P2", 3]])).tables[0]
    assert {name: at.tolist() for name, at in raw.formulas.items()} == {"day": [0]}


def test_hidden_rows_are_read_and_counted_and_comments_are_said(tmp_path):
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 1], ["P2", 3]])
    book = load_workbook(path)
    book.active.row_dimensions[3].hidden = True
    book.active["A2"].comment = Comment("look again", "somebody")
    book.save(path)
    found = read(path)
    assert len(found.tables[0]) == 2
    assert found.hidden_rows == 1
    assert found.comments


def test_a_sheet_that_claims_every_cell_there_is_costs_only_what_it_holds(tmp_path):
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 1]])
    rewritten(path, "xl/worksheets/sheet1.xml", lambda xml: xml.replace(b'ref="A1:B2"', b'ref="A1:XFD1048576"'))
    assert len(read(path).tables[0]) == 1


def test_a_row_number_no_sheet_can_have_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(reading_xlsx, "MOST_ROWS", 1000)
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 1]])
    rewritten(path, "xl/worksheets/sheet1.xml", lambda xml: xml.replace(b'<row r="2"', b'<row r="1999"'))
    with pytest.raises(SourceError, match="more rows than a sheet can have"):
        read(path)


def test_a_workbook_that_defines_entities_is_not_opened(tmp_path):
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 1]])
    bomb = b'<!DOCTYPE x [<!ENTITY a "aaaa">]>'
    rewritten(path, "xl/worksheets/sheet1.xml", lambda xml: bomb + xml)
    with pytest.raises(SourceError, match="XML entities"):
        read(path)


def test_a_zip_bomb_is_not_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr(reading_xlsx, "MOST_BYTES", 1_000_000)
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 1]])
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/bomb.xml", b" " * 1_000_001)
    with pytest.raises(SourceError, match="unpacks to more than"):
        read(path)


def test_a_damaged_sheet_is_one_line(tmp_path):
    path = saved(tmp_path, [["patient_id", "day"], ["P1", 1]])
    rewritten(path, "xl/worksheets/sheet1.xml", lambda xml: xml[: len(xml) // 2])
    with pytest.raises(SourceError, match="damaged") as caught:
        read(path)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"patient_id,day\n", "not a workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 64, "protected by a password"),
        (b"PK\x03\x04 cut short", "cut short"),
    ],
)
def test_a_file_that_is_no_workbook_is_refused(tmp_path, content, said):
    path = tmp_path / "unit.xlsx"
    path.write_bytes(content)
    with pytest.raises(SourceError, match=said):
        read(path)


def test_a_truncated_workbook_is_refused(tmp_path):
    path = write_workbook(tmp_path / "unit.xlsx", faultless())
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(SourceError, match=r"unit\.xlsx"):
        read(path)


def test_two_sheets_of_one_name_are_refused(tmp_path):
    path = saved(tmp_path, [["patient_id"]])
    book = load_workbook(path)
    book.create_sheet("reviews ")
    book.save(path)
    with pytest.raises(SourceError, match="two sheets"):
        read(path)


@pytest.mark.parametrize(
    "text",
    [
        "openpyxl",
        "Microsoft Excel",
        "Microsoft Excel Compatible / Openpyxl 3.1.5",
        "Microsoft Macintosh Excel",
        "LibreOffice/7.4.7.2$Linux_X86_64 LibreOffice_project/40$Build-2",
        "Google Sheets",
        "XlsxWriter",
        "LibreOffice/7.3.7.2$Windows_X86_64 LibreOffice_project/e114eadc50a9ff8d8c8a0567d6da8f454beeb84f",
        "Apache POI",
        "SheetJS",
        "Microsoft Excel 2016",
        "Microsoft Excel Compatible / Openpyxl 3.0.10",
    ],
)
def test_the_name_of_a_program_is_one(text):
    assert is_program(text)


@pytest.mark.parametrize(
    "text",
    [
        "Anna Brandelow",
        "Microsoft Excel Brandelow",
        "openpyxl, Anna",
        "16.0300",
        "Excel 4081234",
        "",
        "Excel 07700 900123",
        "Excel 12.03.1956",
        "Excel 2024.03.12",
        "Excel 07 70 09 12",
        "anna@example.org",
        "e114eadc50a9ff8d8c8a0567d6da8f454beeb84f",
    ],
)
def test_anything_else_is_none(text):
    assert not is_program(text)


def saved_workbook(path, **properties):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "DEN"
    for line in (HEADINGS, wide_line(index=datetime(INDEX.year, INDEX.month, INDEX.day))):
        sheet.append([None if each == "" else each for each in line])
    if properties:
        book.properties = DocumentProperties(**properties)
    book.save(path)
    return path


def test_a_workbook_that_a_program_saved_is_read(tmp_path):
    assert len(read_with_layout(saved_workbook(tmp_path / "unit.xlsx"), parse_layout(WIDE)).registry.patients) == 1


@pytest.mark.parametrize("property_", ["creator", "lastModifiedBy", "title", "description", "keywords"])
@pytest.mark.parametrize("author", ["Anna Brandelow", "openpyxl Brandelow", "Brandelow", "anna@example.org"])
def test_a_real_author_still_stops(tmp_path, property_, author):
    path = saved_workbook(tmp_path / "unit.xlsx", **{property_: author})
    with pytest.raises(RegistryError, match="the properties of the workbook") as caught:
        read_with_layout(path, parse_layout(WIDE))
    assert "Brandelow" not in str(caught.value) and "example.org" not in str(caught.value)


@pytest.mark.parametrize(
    ("was", "instead"), [(b'<row r="2"', b'<row r="-1"'), (b'<row r="2"', b'<row r="1"'), (b'r="B2"', b'r="A2"')]
)
def test_a_row_or_cell_that_would_be_left_out_unsaid_makes_the_workbook_a_damaged_one(tmp_path, was, instead):
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("S")
        for row in range(3):
            sheet.write_row(row, 0, ["x", 1, 2])
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheet = next(name for name in parts if name.endswith("sheet1.xml"))
    assert was in parts[sheet]
    parts[sheet] = parts[sheet].replace(was, instead, 1)
    with zipfile.ZipFile(path, "w") as archive:
        for name, body in parts.items():
            archive.writestr(name, body)
    with pytest.raises(SourceError, match="is damaged"):
        read_export(path)
    with pytest.raises(SourceError, match="is damaged"):
        read_workbook(path, {"s": "reviews"}, hashlib.sha256())
