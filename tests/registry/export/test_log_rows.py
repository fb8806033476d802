"""A sheet that is a log: one row a happening, and a column that says what it is."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import INDEX, TOP, read, told
from necrostats.errors import RegistryError
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.cells import RawCell
from necrostats.registry.export.layout import ColumnLayout
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.readers import Pseudonyms, readings_of

PEOPLE = """
[[sheet]]
name = "People"
patient = "No"
rows = [{ table = "patients", columns = { "Age" = "age_years" } }]
"""
SESSIONS = """
[[sheet]]
name = "Log"
patient = "No"
where = { "What" = ["Drainage", "Necrosectomy"] }
[[sheet.rows]]
table = "sessions"
index = "first_drainage"
columns = { "Date" = "day", "What" = "session_type", "Detail" = "stents" }
"""
SCANS = """
[[sheet]]
name = "Log"
patient = "No"
where = { "What" = "CT" }
rows = [{ table = "scans", columns = { "Date" = "day", "Detail" = { to = "size", unit = "mm" } } }]
"""
LAYOUT = TOP + PEOPLE + SESSIONS + SCANS
DRAINED = ("1", INDEX, "Drainage", "LAMS 15")
SCANNED = ("1", date(2024, 4, 1), "ct ", "30 x 20 x 10")


def log(tmp_path, *rows, layout=LAYOUT, headings=("No", "Date", "What", "Detail")):
    """Patients 1 and 2 and a log of rows (number, date, what, detail)."""
    sheets = {"People": [["No", "Age"], ["1", 50], ["2", 60]], "Log": [list(headings), *map(list, rows)]}
    return read(tmp_path, sheets, layout)


def of_sheet(found, rule):
    listed = found.registry.findings
    listed = listed[(listed["rule"] == rule) & (listed["sheet"] == "Log")]
    return listed[["column", "value", "problem"]].to_numpy().tolist()


def test_each_sheet_takes_the_rows_of_its_kind_however_they_are_typed(tmp_path):
    found = log(tmp_path, DRAINED, SCANNED)
    assert found.registry.sessions["session_type"].tolist() == ["drainage"]
    assert found.registry.scans[["day", "long_mm", "short_mm"]].to_numpy().tolist() == [[31, 30, 10]]
    assert of_sheet(found, "KIND_NOT_MENTIONED") == [] == of_sheet(found, "COLUMN_NOT_MENTIONED")


def test_rows_of_a_kind_that_nothing_takes_are_one_finding_a_kind_with_their_count_and_rows(tmp_path):
    calls = [("1", date(2024, 4, day), "Phone call", "x") for day in (2, 3, 4)]
    found = log(tmp_path, DRAINED, *calls, ("1", date(2024, 4, 5), "", "y"), SCANNED)
    assert of_sheet(found, "KIND_NOT_MENTIONED") == [
        [
            "What",
            "Phone call",
            "is a kind of row that no [[sheet]] of this name takes: 3 rows not read (3, 4, 5)",
        ],
        ["What", "", "is a kind of row that no [[sheet]] of this name takes: 1 row not read (6)"],
    ]
    aside = found.registry.set_aside
    assert aside.loc[aside["rule"] == "KIND_NOT_MENTIONED", "row"].tolist() == [3, 4, 5, 6]


def test_kinds_of_row_may_be_left_out_by_what_they_say(tmp_path):
    left_out = LAYOUT.replace(
        'where = { "What" = "CT" }', 'where = { "What" = "CT" }\nskip_where = { "What" = "phone call" }'
    )
    found = log(tmp_path, DRAINED, ("1", date(2024, 4, 2), "Phone  call", "x"), SCANNED, layout=left_out)
    assert of_sheet(found, "KIND_NOT_MENTIONED") == []
    assert [value for _, value, _ in of_sheet(found, "SKIPPED")] == ["Phone call"]


def test_every_cell_and_row_of_a_log_is_counted_once(tmp_path):
    twice = LAYOUT + SCANS.replace('"CT" }', '"CT", "Detail" = "gone" }').replace("mm", "cm")
    rows = (DRAINED, SCANNED, ("1", date(2024, 5, 1), "CT", "gone"), ("2", date(2024, 5, 1), "Phone call", "x"))
    counts = counts_of(log(tmp_path, *rows, layout=twice).material)
    assert counts.complete
    assert (counts.rows, counts.rows_set_aside, counts.cells) == (6, 1, 4 + 16)
    assert (counts.cells_set_aside, counts.not_mentioned) == (4 + 1, 0)  # the call, and "gone", which is no size


def test_a_column_that_one_kind_of_row_leaves_out_is_said_for_its_rows_only(tmp_path):
    without = LAYOUT.replace(', "Detail" = { to = "size", unit = "mm" }', "")
    found = log(tmp_path, DRAINED, SCANNED, layout=without)
    assert [(column, problem.partition(";")[2]) for column, _, problem in of_sheet(found, "COLUMN_NOT_MENTIONED")] == [
        ("Detail", " its 1 cell was not read")
    ]


def test_a_kind_that_no_row_is_of_is_noted(tmp_path):
    found = log(tmp_path, DRAINED)
    assert [value for _, value, _ in of_sheet(found, "NO_SUCH_KIND")] == ["Necrosectomy", "CT"]


def test_the_ledger_says_of_rows_of_no_kind_that_they_were_set_aside(tmp_path):
    found = log(tmp_path, DRAINED, ("1", date(2024, 4, 2), "Phone call", "x"))
    ledger = ledger_of(found)
    aside = ledger[ledger["rule"] == "KIND_NOT_MENTIONED"]
    assert aside[["sheet", "row", "outcome"]].to_numpy().tolist() == [["Log", 3, "set aside"]]


def test_the_ledger_has_a_line_for_each_cell_that_says_what_a_row_is(tmp_path):
    ledger = ledger_of(log(tmp_path, DRAINED, SCANNED))
    told = ledger[(ledger["column"] == "What") & (ledger["sheet"] == "Log")]
    assert told[["row", "written", "outcome", "rule"]].to_numpy().tolist() == [
        [2, "Drainage", "value", "code"],
        [3, "ct", "value", "kind of row"],
    ]


def test_a_patient_of_rows_that_nothing_takes_is_no_patient(tmp_path):
    found = log(tmp_path, DRAINED, ("99", date(2024, 4, 2), "Phone call", "x"))
    assert told(found, "NO_SUCH_PATIENT") == []


@pytest.mark.parametrize(
    "second", [SCANS.replace('where = { "What" = "CT" }\n', ""), SESSIONS], ids=["without where", "the same where"]
)
def test_two_sheets_of_one_name_must_be_told_apart(second):
    with pytest.raises(RegistryError, match=r"two \[\[sheet\]\] have this name"):
        parse_layout(TOP + PEOPLE + SESSIONS + second)


def test_what_looks_like_a_name_is_looked_for_in_the_rows_of_each_kind(tmp_path):
    """A word that is no pseudonym of an operator stops where operators are read, not where they are ignored."""
    operators = LAYOUT.replace('"Detail" = "stents"', '"Detail" = "operator"').replace(
        ', "Detail" = { to = "size", unit = "mm" }', ""
    )
    ignoring = operators.replace('where = { "What" = "CT" }', 'where = { "What" = "CT" }\nignore = ["Detail"]')
    found = log(tmp_path, (*DRAINED[:3], "OP1"), (*SCANNED[:3], "IR"), layout=ignoring)
    assert found.registry.sessions["operator"].tolist() == ["OP1"]
    with pytest.raises(RegistryError, match="an operator who is not a pseudonym"):
        log(tmp_path, (*DRAINED[:3], "IR"), SCANNED, layout=ignoring)


def test_percent_solid_may_say_so():

    column = ColumnLayout(heading="Detail", to="solid_percent")
    read_as = readings_of([RawCell("25% solid"), RawCell("30 % necrosis")], "scans", column, "", Pseudonyms())
    assert [dict(each.fills) for each in read_as] == [{"solid_percent": "25"}, {"solid_percent": "30"}]


def test_in_a_kind_of_row_a_star_stands_for_any_signs_and_a_question_mark_for_itself(tmp_path):
    rows = (DRAINED, SCANNED, ("1", date(2024, 5, 1), "CT abdomen", "20 x 10 x 5"), ("1", date(2024, 6, 1), "MR", "x"))
    found = log(tmp_path, *rows, layout=LAYOUT.replace('"What" = "CT"', '"What" = ["CT*", "??"]'))
    assert found.registry.scans["day"].tolist() == [31, 61]
    assert [value for _, value, _ in of_sheet(found, "KIND_NOT_MENTIONED")] == ["MR"]
