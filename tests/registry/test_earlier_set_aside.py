from __future__ import annotations

import io

import openpyxl
import pytest

from necrostats.errors import RegistryError, SourceError
from necrostats.registry.earlier_set_aside import about_before, set_aside_before
from necrostats.registry.findings import findings_frame, no_findings
from necrostats.registry.messages import HEADS, findings_workbook

HEAD = "table,file,sheet,row,scope,column,patient_id,rule\n"


def written(tmp_path, text):
    (tmp_path / "set_aside.csv").write_text(text, encoding="utf-8")
    return set_aside_before(tmp_path)


def test_a_folder_without_the_list_had_nothing_set_aside(tmp_path):
    assert set_aside_before(tmp_path).empty
    assert about_before(set_aside_before(tmp_path), "x").empty


def test_the_list_is_read_with_its_rows_and_patients(tmp_path):
    lines = "sessions,u.xlsx,DEN,12,row,,P0001,OVERFLOW\npatients,u.xlsx,DEN,,cell,Age,,NOT_READ\n"
    listed = written(tmp_path, HEAD + lines)
    assert listed["row"].to_numpy(na_value=-1).tolist() == [12, -1]
    assert listed["patient_id"].tolist() == ["P0001", None]
    assert "1 row and 1 cell" in about_before(listed, "tidy")["problem"].iloc[0]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a,b\n1,2\n",
        HEAD + "nothing,u,S,1,row,,P1,RULE\n",
        HEAD + "sessions,u,S,x,row,,P1,RULE\n",
        HEAD + "sessions,u,S,1,row,,P1,some words\n",
        HEAD + "sessions,u,S,1,much,,P1,RULE\n",
        HEAD + '"sessions',
    ],
)
def test_a_file_that_is_no_such_list_is_a_plain_error(tmp_path, text):
    with pytest.raises(SourceError, match="is not the list that necrostats writes"):
        written(tmp_path, text)


def test_an_identifier_in_it_stops(tmp_path):
    with pytest.raises(RegistryError) as caught:
        written(tmp_path, HEAD + "sessions,u.xlsx,anna@example.org,1,row,,P0001,OVERFLOW\n")
    assert "anna" not in str(caught.value)


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
