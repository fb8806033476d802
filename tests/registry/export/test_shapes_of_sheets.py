"""Sheets of the shapes that units really keep, read as they stand."""

from __future__ import annotations

import pytest

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line
from necrostats.registry.export.conservation import counts_of
from necrostats.registry.export.mapped_sheets import plainest

ONE_A_SHEET = (
    TOP
    + """
[[sheet]]
name = "Pat*"
patient = "{sheet}"
skip_rows = ["Total", "mean*"]
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
columns = { "Day" = { to = "day", days = true }, "Yield" = { to = "yield", unit = "ml" } }
"""
)


@pytest.mark.parametrize("written", ["DEN {} date", "DEN-{} date", "DEN{}_date", "DEN #{} date"])
def test_a_numbered_heading_forgives_blanks_and_signs(tmp_path, written):
    headings = [heading.replace("DEN1 date", written.format(1)) for heading in HEADINGS]
    found = read_wide(tmp_path, wide_line("1", DEN1_date="10/03/24"), headings=headings)
    assert found.registry.sessions["day"].tolist() == [0, 9]
    assert told(found, "COLUMN_NOT_MENTIONED") == []


@pytest.mark.parametrize("written", ["1st DEN date", "1. DEN date", "1ère DEN date", "1º DEN date", "1 DEN date"])
def test_a_number_before_the_heading_may_be_an_ordinal(tmp_path, written):
    headings = [heading.replace("DEN1 date", written).replace("DEN2 date", "2 DEN date") for heading in HEADINGS]
    layout = WIDE.replace('"DEN{n} date"', '"{n} DEN date"')
    found = read_wide(tmp_path, wide_line("1", DEN1_date="10/03/24"), headings=headings, layout=layout)
    assert found.registry.sessions["day"].tolist() == [0, 9]


def test_headings_that_differ_in_more_than_signs_stay_apart():
    assert len({plainest(each) for each in ("DEN1 date", "DEN11 date", "DEN2 date", "DEN1 data", "DEN1 dates")}) == 5


def test_two_columns_that_would_do_are_not_chosen_between(tmp_path):
    headings = [heading.replace("DEN2 date", "DEN-1 date").replace("DEN1 date", "DEN 1 date") for heading in HEADINGS]
    with pytest.raises(Exception, match="DEN1 date"):
        read_wide(tmp_path, wide_line("1"), headings=headings)


def test_one_sheet_a_patient_is_read_by_the_name_of_the_sheet_and_totals_are_no_record(tmp_path):
    head = ["Index", "Day", "Yield"]
    sheets = {
        "Pat 7": [head, [INDEX, "", ""], ["", 3, 100], ["", 9, 50], ["Total", "", 150]],
        "Pat 9": [head, [INDEX, "", ""], ["", 5, 80], ["Mean of all", "", 80]],
    }
    found = read(tmp_path, sheets, ONE_A_SHEET)
    assert len(found.registry.patients) == 2
    assert found.registry.sessions.query("day > 0")[["patient_id", "day", "yield_low"]].astype(
        str
    ).to_numpy().tolist() == [
        ["P0001", "3", "100.0"],
        ["P0001", "9", "50.0"],
        ["P0002", "5", "80.0"],
    ]
    assert [row for _, row, _, _ in told(found, "SKIPPED")] == [5, 4]
    assert counts_of(found.material).complete


def test_collections_numbered_in_the_headings_are_named_by_label_and_number(tmp_path):
    layout = (
        WIDE
        + """
[[sheet.rows]]
table = "collections"
numbers = "1-2"
columns = { "K{n} size" = { to = "size", unit = "mm" }, "K{n} site" = "site" }
[[sheet]]
name = "Scans"
patient = "No"
[[sheet.rows]]
table = "scans"
columns = { "Day" = { to = "day", days = true }, "Which" = "collection" }
"""
    )
    sheets = {
        "DEN": [
            [*HEADINGS, "K1 size", "K1 site", "K2 size", "K2 site"],
            [*wide_line("1"), "", "", "80x60", "pelvic"],
            [*wide_line("2"), "120", "lesser sac", "40", "pelvic"],
        ],
        "Scans": [["No", "Day", "Which"], ["1", 10, "K2"], ["2", 11, "K2"], ["2", 12, "coll. 1"], ["2", 13, "K3"]],
    }
    registry = read(tmp_path, sheets, layout).registry
    scans = registry.scans.merge(registry.collections, on="collection_id")
    assert scans[["day", "site"]].astype(str).to_numpy().tolist() == [
        ["10", "pelvic"],
        ["11", "pelvic"],
        ["12", "lesser_sac"],
    ]
