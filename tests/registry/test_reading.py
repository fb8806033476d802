"""Finding the tables of a source."""

from __future__ import annotations

import gzip
import hashlib
import io
from datetime import date, datetime
from zipfile import ZIP_DEFLATED, ZipFile

import numpy as np
import openpyxl
import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.exports import workbook
from builders.registry_files import faultless, write_folder, write_workbook
from necrostats.errors import SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.cells import Gathering
from necrostats.registry.findings import findings_frame, no_findings
from necrostats.registry.messages import HEADS, findings_workbook
from necrostats.registry.reading import about_before, read_export, read_source, read_tidy_csv, set_aside_before


def test_tables_come_in_the_order_of_the_codebook_whatever_the_files_are_called(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "patients.csv").rename(folder / "Patients.CSV")
    (folder / "adverse_events.csv").rename(folder / "Adverse events.csv")
    assert list(read_source(folder).tables) == list(TABLES)


def test_data_files_that_are_no_table_are_named_and_others_left_in_peace(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    for name in ("patient.csv", "old.xlsx", "README.md", ".DS_Store", "~$old.xlsx", "truth.json"):
        (folder / name).write_text("x")
    assert read_source(folder).strangers == ("old.xlsx", "patient.csv")


def test_the_hash_is_the_same_twice_and_changes_with_a_byte(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    first = read_source(folder).sha256
    assert read_source(folder).sha256 == first
    (folder / "reviews.csv").write_bytes((folder / "reviews.csv").read_bytes() + b"\n")
    assert read_source(folder).sha256 != first


def test_every_file_that_cannot_be_read_is_named_at_once(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "scans.csv").write_bytes(b"")
    (folder / "stents.csv").write_bytes(b"PK\x03\x04")
    with pytest.raises(SourceError) as caught:
        read_source(folder)
    assert [line.split()[0] for line in str(caught.value).splitlines()] == ["scans.csv", "stents.csv"]


def test_a_missing_source_is_said_plainly(tmp_path):
    with pytest.raises(SourceError, match="does not exist"):
        read_source(tmp_path / "nowhere")


def test_an_empty_folder_says_what_it_should_hold(tmp_path):
    with pytest.raises(SourceError, match=r"no patients\.csv"):
        read_source(tmp_path)


def test_a_folder_with_a_workbook_says_how_to_read_it(tmp_path):
    write_workbook(tmp_path / "unit.xlsx", faultless())
    with pytest.raises(SourceError, match=r"To read a workbook, name it: .*unit\.xlsx"):
        read_source(tmp_path)


def test_one_csv_is_answered_with_its_folder(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    with pytest.raises(SourceError, match="give the folder that holds the tables, unit"):
        read_source(folder / "patients.csv")


@pytest.mark.parametrize("name", ["unit.xls", "unit.ods", "unit"])
def test_another_kind_of_file_is_refused(tmp_path, name):
    (tmp_path / name).write_bytes(b"x")
    with pytest.raises(SourceError, match="cannot be read as a registry"):
        read_source(tmp_path / name)


def test_a_folder_in_the_place_of_a_file_is_refused(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "scans.csv").unlink()
    (folder / "scans.csv").mkdir()
    with pytest.raises(SourceError, match=r"scans\.csv cannot be opened"):
        read_source(folder)


def test_two_files_for_one_table_are_refused(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "other interventions.csv").write_text("patient_id\n")
    with pytest.raises(SourceError, match="two files hold the table other_interventions"):
        read_source(folder)


def test_a_workbook_without_a_table_is_refused(tmp_path):
    path = write_workbook(tmp_path / "unit.xlsx", {"patients": faultless()["patients"]})
    assert list(read_source(path).tables) == ["patients"]
    empty = write_workbook(tmp_path / "empty.xlsx", {"other_interventions": []})
    assert list(read_source(empty).tables) == ["other_interventions"]


def read(tmp_path, content: bytes | str):
    path = tmp_path / "reviews.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return read_tidy_csv(path, "reviews", hashlib.sha256())


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
    read_tidy_csv(path, "reviews", digest)
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
    said = {each.text for each in export.other_texts}
    assert {"ask the fellow", "&Cfor the quarter"} <= said


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


SET_ASIDE_HEAD = "table,file,sheet,row,scope,column,patient_id,rule\n"


def written(tmp_path, text):
    (tmp_path / "set_aside.csv").write_text(text, encoding="utf-8")
    return set_aside_before(tmp_path)


def test_a_folder_without_the_list_had_nothing_set_aside(tmp_path):
    assert set_aside_before(tmp_path).empty
    assert about_before(set_aside_before(tmp_path), "x").empty


def test_the_list_is_read_with_its_rows_and_patients(tmp_path):
    lines = "sessions,u.xlsx,DEN,12,row,,P0001,OVERFLOW\npatients,u.xlsx,DEN,,cell,Age,,NOT_READ\n"
    listed = written(tmp_path, SET_ASIDE_HEAD + lines)
    assert listed["row"].to_numpy(na_value=-1).tolist() == [12, -1]
    assert listed["patient_id"].tolist() == ["P0001", None]
    assert "1 row and 1 cell" in about_before(listed, "tidy")["problem"].iloc[0]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n1,2\n",
        SET_ASIDE_HEAD + "nothing,u,S,1,row,,P1,RULE\n",
        SET_ASIDE_HEAD + "sessions,u,S,x,row,,P1,RULE\n",
        SET_ASIDE_HEAD + "sessions,u,S,1,row,,P1,some words\n",
        SET_ASIDE_HEAD + "sessions,u,S,1,much,,P1,RULE\n",
        SET_ASIDE_HEAD + '"sessions',
    ],
)
def test_a_file_that_is_no_such_list_is_a_plain_error(tmp_path, text):
    with pytest.raises(SourceError, match="is not the list that necrostats writes"):
        written(tmp_path, text)


def test_what_looks_like_an_identifier_in_it_is_withheld_and_its_row_stays(tmp_path):
    lines = "sessions,u.xlsx,anna@example.org,1,row,,P0001,OVERFLOW\nsessions,u.xlsx,DEN,2,row,,Anna Meier,ORPHAN\n"
    listed = written(tmp_path, SET_ASIDE_HEAD + lines)
    assert listed["sheet"].tolist() == ["name withheld", "DEN"]
    assert listed["patient_id"].tolist() == ["P0001", None] or listed["patient_id"].tolist() == [None, None]
    assert "nna" not in listed.to_string()


FOUND = findings_frame(
    row=[3, 9],
    file="unit.xlsx",
    sheet=["DEN", "Scans: [all]/2024 and what came after"],
    column="yield",
    value=["=1+1", "200-300"],
    problem="is no number",
    remedy="Write yield_low 200 and yield_high 300.",
)


def sheets(findings):
    return openpyxl.load_workbook(io.BytesIO(findings_workbook(findings)))


def test_each_sheet_of_the_source_has_a_sheet_to_filter_with_the_rows_as_the_spreadsheet_shows_them():
    book = sheets(FOUND)
    assert book.sheetnames == ["DEN", "Scans   all  2024 and what came"]
    rows = list(book["DEN"].iter_rows(values_only=True))
    assert rows[0] == tuple(head for head, _ in HEADS.values())
    assert rows[1][:4] == ("stops", 3, "yield", "=1+1")
    assert book["DEN"].auto_filter.ref == "A1:G2" and book["DEN"].freeze_panes == "A2"


def test_nothing_in_it_is_a_formula_and_the_same_findings_give_the_same_bytes():
    assert sheets(FOUND)["DEN"]["D2"].data_type == "s"
    assert findings_workbook(FOUND) == findings_workbook(FOUND)


def test_nothing_found_is_a_sheet_that_says_so():
    assert sheets(no_findings()).sheetnames == ["Nothing found"]


def test_two_sheets_of_one_name_stay_apart():
    both = findings_frame(row=[1, 1], file=["a.xlsx", "b.xlsx"], sheet="DEN", problem="is odd")
    assert sheets(both).sheetnames == ["DEN", "DEN 2"]
