"""Findings as a workbook."""

from __future__ import annotations

import io

import openpyxl

from necrostats.registry.findings import findings_frame, no_findings
from necrostats.registry.findings_workbook import HEADS, findings_workbook

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
