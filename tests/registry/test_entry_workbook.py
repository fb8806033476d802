from __future__ import annotations

import io
import zipfile

import openpyxl
import pytest

from necrostats.registry.codebook import TABLES
from necrostats.registry.entry_workbook import ROWS, entry_workbook, hint, validation

COLUMNS = [
    pytest.param(column, id=f"{table.name}.{column.name}") for table in TABLES.values() for column in table.columns
]


@pytest.fixture(scope="module")
def workbook():
    return openpyxl.load_workbook(io.BytesIO(entry_workbook()))


def test_there_is_one_sheet_a_table_with_the_headers_of_the_codebook_and_nothing_below(workbook):
    assert workbook.sheetnames == list(TABLES)
    for sheet in workbook:
        rows = [list(row) for row in sheet.iter_rows(values_only=True)]
        assert rows == [list(TABLES[sheet.title].names)]


def test_every_code_list_is_a_drop_down_that_refuses_anything_else(workbook):
    for table in TABLES.values():
        rules = {str(rule.sqref): rule for rule in workbook[table.name].data_validations.dataValidation}
        for place, column in enumerate(table.columns, start=1):
            letter = openpyxl.utils.get_column_letter(place)
            rule = rules[f"{letter}2:{letter}{ROWS + 1}"]
            if column.codes:
                assert (rule.type, rule.formula1) == ("list", f'"{",".join(column.codes)}"')
                assert rule.errorStyle in (None, "stop")


def test_hints_hold_meaning_unit_and_whether_a_cell_may_be_blank():
    sessions = TABLES["sessions"]
    assert hint(sessions.column("peroxide_percent")).endswith("Unit: %. Scale: 0 to 6. Blank = unknown.")
    assert hint(sessions.column("day")).endswith("Unit: days. Scale: 0 or more. Required.")


@pytest.mark.parametrize("column", COLUMNS)
def test_nothing_is_cut_off_by_the_limits_of_the_file_format(column):
    assert len(column.name) <= 32
    assert len(hint(column)) <= 255
    assert len(",".join(column.codes)) <= 255
    assert validation(column)["input_message"] == hint(column)


def test_the_workbook_is_the_same_bytes_every_time_with_no_formula_link_or_comment():
    written = entry_workbook()
    assert written == entry_workbook()
    with zipfile.ZipFile(io.BytesIO(written)) as archive:
        names = " ".join(archive.namelist())
        sheets = b"".join(archive.read(name) for name in archive.namelist() if "worksheets/" in name)
    assert "comments" not in names
    assert b"<f>" not in sheets
    assert b"hyperlink" not in sheets


def test_text_columns_keep_what_is_typed(workbook):
    sheet = workbook["patients"]
    assert sheet.column_dimensions["A"].width >= len("patient_id")
    assert sheet.freeze_panes == "B2"
