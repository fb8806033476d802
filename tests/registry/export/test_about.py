from datetime import date

import xlsxwriter

from builders.exports import HEADINGS, WIDE, told, wide_line, workbook
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout


def test_hidden_rows_columns_sheets_and_comments_are_named(tmp_path):
    path = tmp_path / "unit.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet, old = book.add_worksheet("DEN"), book.add_worksheet("Old")
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        sheet.write_row(0, 0, [*HEADINGS, "Extra"])
        sheet.write_row(1, 0, ["1", 50])
        sheet.write_datetime(1, 2, date(2024, 3, 1), shown)
        sheet.write(1, len(HEADINGS), "x")
        sheet.set_row(1, None, None, {"hidden": True})
        sheet.set_column(len(HEADINGS), len(HEADINGS), None, None, {"hidden": True})
        sheet.write_comment(1, 1, "checked twice")
        old.write(0, 0, "y")
        old.hide()
    found = read_with_layout(path, parse_layout(WIDE))
    listed = found.registry.findings.set_index("rule")
    assert listed.loc["HIDDEN_ROWS", "problem"] == "1 hidden row was read like any other"
    assert "B2" in listed.loc["COMMENTS", "problem"] and "checked" not in listed.loc["COMMENTS", "problem"]
    assert "hidden, and not mentioned" in listed.loc["SHEET_NOT_MENTIONED", "problem"]
    assert "hidden, and not mentioned" in listed.loc["COLUMN_NOT_MENTIONED", "problem"]
    assert len(found.registry.patients) == 1


def test_a_hidden_sheet_that_the_layout_names_is_read_and_said(tmp_path):
    path = tmp_path / "unit.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("Front").write(0, 0, "see DEN")
        sheet = book.add_worksheet("DEN")
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        sheet.write_row(0, 0, HEADINGS)
        sheet.write_row(1, 0, ["1", 50])
        sheet.write_datetime(1, 2, date(2024, 3, 1), shown)
        sheet.hide()
    found = read_with_layout(path, parse_layout('ignore_sheets = ["Front"]\n' + WIDE))
    assert [sheet for sheet, _, _, _ in told(found, "HIDDEN_SHEET")] == ["DEN"]
    assert len(found.registry.patients) == 1


def test_files_that_are_no_tables_are_named(tmp_path):
    folder = tmp_path / "unit"
    folder.mkdir()
    workbook(folder / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]})
    (folder / "photo.jpg").write_bytes(b"x")
    found = read_with_layout(folder, parse_layout(WIDE))
    assert found.registry.findings.set_index("rule").loc["FILE_NOT_READ", "file"] == "photo.jpg"
