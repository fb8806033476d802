from datetime import date, datetime
from zipfile import ZIP_DEFLATED, ZipFile

import numpy as np
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.exports import workbook
from necrostats.errors import SourceError
from necrostats.registry.export.cells import Gathering
from necrostats.registry.export.reading import read_export

HEAD = "No;Date;Text\r\n"


def texts(grid):
    return [
        [column.cells[which].text for column, which in zip(grid.columns, line, strict=True)]
        for line in zip(*(column.which for column in grid.columns), strict=True)
    ]


def csv_of(tmp_path, content, name="unit.csv"):
    path = tmp_path / name
    path.write_bytes(content)
    return read_export(path).grids[0]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_csv_is_read_whatever_its_encoding_and_separator(tmp_path, encoding, separator):
    content = f"No{separator}Étiologie\n1{separator}alcool\n".encode(encoding)
    assert texts(csv_of(tmp_path, content)) == [["No", "Étiologie"], ["1", "alcool"]]


def test_line_breaks_in_quotation_marks_belong_to_the_cell_and_rows_keep_their_numbers(tmp_path):
    grid = csv_of(tmp_path, b'a,b\n\n1,"x\ny"\n , \n2,z\n')
    assert texts(grid) == [["a", "b"], ["1", "x\ny"], ["2", "z"]]
    assert grid.rows.tolist() == [1, 3, 5]


def test_a_folder_of_files_is_one_export(tmp_path):
    (tmp_path / "a.csv").write_text("x,y\n1,2\n")
    workbook(tmp_path / "b.xlsx", {"S": [["x"], [1]], "T": [["y"]]})
    (tmp_path / "notes.docx").write_text("no")
    export = read_export(tmp_path)
    assert [grid.name for grid in export.grids] == ["a", "S", "T"]
    assert export.unread == ("notes.docx",)


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.xlsx", b"", "is empty"),
        ("a.xlsx", b"a,b\n1,2\n", "not a workbook"),
        ("a.xlsx", b"PK\x03\x04x", "cut"),
        ("a.xlsx", b"\xd0\xcf\x11\xe0" + b"\0" * 600, "password"),
        ("a.csv", b"", "is empty"),
        ("a.csv", b"PK\x03\x04", "not a csv file"),
        ("a.csv", b"a\0b\n", "NUL"),
        ("a.csv", b'a,"b\n1,2\n', "quotation"),
        ("a.pdf", b"%PDF", "neither a workbook"),
    ],
)
def test_a_file_that_is_not_what_it_says_is_one_plain_line(tmp_path, name, content, said):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(SourceError, match=said) as caught:
        read_export(path)
    assert "\n" not in str(caught.value)


def test_a_source_that_is_not_there_is_a_plain_error(tmp_path):
    with pytest.raises(SourceError, match="does not exist"):
        read_export(tmp_path / "none.xlsx")
    with pytest.raises(SourceError, match="neither a workbook"):
        read_export(tmp_path)


@pytest.mark.parametrize(("system", "options"), [("1900", {}), ("1904", {"date_1904": True})])
def test_dates_of_both_systems_are_the_dates_that_were_written(tmp_path, system, options):
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path, options) as book:
        sheet = book.add_worksheet("S")
        sheet.write_datetime(0, 0, datetime(2024, 3, 12, 14, 30), book.add_format({"num_format": "dd/mm/yyyy hh:mm"}))
    grid = read_export(path).grids[0]
    assert grid.date_system == system
    assert grid.columns[0].cells[1].value == datetime(2024, 3, 12, 14, 30)


def test_numbers_percentages_and_truths_keep_their_kind(tmp_path):
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("S")
        sheet.write_row(0, 0, [7, 1.5, True])
        sheet.write(0, 3, 0.45, book.add_format({"num_format": "0%"}))
    assert texts(read_export(path).grids[0]) == [["7", "1.5", "true", "45%"]]


def test_a_formula_counts_by_its_kept_result(tmp_path):
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("S")
        sheet.write_formula(0, 0, "=1+1", None, 2)
        sheet.write_formula(0, 1, '=""', None, "")
        sheet.write_formula(0, 2, "=TODAY()", None, "")
        sheet.write(0, 3, "x")
    content = {}
    with ZipFile(path) as book:
        content = {name: book.read(name) for name in book.namelist()}
    sheet = content["xl/worksheets/sheet1.xml"]
    sheet = sheet.replace(b'<c r="B1"><f>""</f><v></v>', b'<c r="B1" t="str"><f>""</f><v></v>')
    with ZipFile(path, "w", ZIP_DEFLATED) as book:
        for name, data in {**content, "xl/worksheets/sheet1.xml": sheet}.items():
            book.writestr(name, data)
    cells = [column.cells[column.which[0]] for column in read_export(path).grids[0].columns]
    assert [(cell.text, cell.no_result) for cell in cells] == [("2", False), ("", False), ("", True), ("x", False)]


def test_hidden_merged_and_commented_things_are_known(tmp_path):
    path = tmp_path / "a.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet, hidden = book.add_worksheet("S"), book.add_worksheet("Old")
        hidden.hide()
        sheet.merge_range(0, 0, 0, 2, "head")
        sheet.write(2, 1, "x")
        sheet.set_row(2, None, None, {"hidden": True})
        sheet.set_column(1, 1, None, None, {"hidden": True})
        sheet.write_comment(2, 1, "ask the fellow")
        sheet.set_header("&Cfor the quarter")
    export = read_export(path)
    grid = export.grids[0]
    assert (grid.hidden, export.grids[1].hidden) == (False, True)
    assert grid.merges == ((1, 1, 1, 3),)
    assert grid.hidden_rows == {3}
    assert [column.hidden for column in grid.columns] == [False, True, False][: len(grid.columns)]
    assert [comment.place for comment in grid.comments] == ["B3"]
    said = dict(export.other_texts)
    assert "ask the fellow" in said.values() and "&Cfor the quarter" in said.values()


@given(
    st.lists(st.lists(st.sampled_from(["", " ", "a", "b"]), max_size=5), max_size=12),
    st.integers(min_value=1, max_value=4),
)
@settings(deadline=None, derandomize=True, max_examples=150)
def test_gathering_keeps_every_cell_in_its_place(lines, block):
    gathering = Gathering()
    for first in range(0, len(lines), block):
        gathering.add(lines[first : first + block])
    columns, rows = gathering.columns(), gathering.rows()
    held = [(number, line) for number, line in enumerate(lines, start=1) if any(cell.strip() for cell in line)]
    assert rows.tolist() == [number for number, _ in held]
    for at, (_, line) in enumerate(held):
        told = [column.cells[column.which[at]].text for column in columns]
        padded = [*line, *[""] * len(columns)]
        assert [each.strip() for each in told] == [each.strip() for each in padded[: len(columns)]]
        assert not any(each.strip() for each in line[len(columns) :])


def test_a_column_of_some_rows_keeps_the_cells_in_order_of_appearance(tmp_path):
    workbook(tmp_path / "a.xlsx", {"S": [["z"], ["b"], ["a"], ["b"], [date(2024, 1, 1)]]})
    column = read_export(tmp_path / "a.xlsx").grids[0].columns[0].at(np.array([1, 2, 3]))
    assert [cell.text for cell in column.cells] == ["", "b", "a"]
    assert column.texts().tolist() == ["b", "a", "b"]
