"""Workbooks: values as a person would write them, and files that no spreadsheet program saved."""

from __future__ import annotations

import hashlib
import zipfile
from datetime import date, datetime, time

import numpy as np
import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment

from builders.registry_files import faultless, write_workbook
from necrostats.errors import SourceError
from necrostats.registry import reading_xlsx
from necrostats.registry.reading_xlsx import as_text, read_workbook

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
