from __future__ import annotations

from datetime import datetime

import openpyxl
import pytest
from openpyxl.packaging.core import DocumentProperties

from builders.exports import HEADINGS, INDEX, WIDE, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout
from necrostats.registry.export.reading_xlsx import is_program


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


def saved(path, **properties):
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
    assert len(read_with_layout(saved(tmp_path / "unit.xlsx"), parse_layout(WIDE)).registry.patients) == 1


@pytest.mark.parametrize("property_", ["creator", "lastModifiedBy", "title", "description", "keywords"])
@pytest.mark.parametrize("author", ["Anna Brandelow", "openpyxl Brandelow", "Brandelow", "anna@example.org"])
def test_a_real_author_still_stops(tmp_path, property_, author):
    path = saved(tmp_path / "unit.xlsx", **{property_: author})
    with pytest.raises(RegistryError, match="the properties of the workbook") as caught:
        read_with_layout(path, parse_layout(WIDE))
    assert "Brandelow" not in str(caught.value) and "example.org" not in str(caught.value)
