"""Rows of a log that say that stents came out."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import INDEX, TOP, read, told
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_reading import parse_layout

LAYOUT = (
    TOP
    + """
[[sheet]]
name = "People"
patient = "No"
rows = [{ table = "patients", columns = { "Age" = "age_years" } }]
[[sheet]]
name = "Log"
patient = "No"
where = { "What" = ["Drainage", "Exchange"] }
[[sheet.rows]]
table = "sessions"
index = "first_drainage"
[sheet.rows.columns]
"Date" = "day"
"What" = { to = "session_type", codes = { "Exchange" = "stent_exchange" } }
"Stent" = "stents"
[[sheet]]
name = "Log"
patient = "No"
where = { "What" = "Stent out" }
[[sheet.rows]]
table = "sessions"
constants = { session_type = "stent_removal" }
columns = { "Date" = "day" }
[[sheet.rows]]
table = "stents"
ends_stents = true
columns = { "Date" = "removed_day", "Stent" = "stent", "Why" = "end_reason" }
"""
)
BOTH = "LAMS 15 + DPT 7Fr"


def day(number):
    return date.fromordinal(INDEX.toordinal() + number)


def log(tmp_path, *rows, layout=LAYOUT):
    """Rows (day, what, stent, why) of one patient, drained on day 0."""
    lines = [["1", day(number), *rest] for number, *rest in rows]
    sheets = {"People": [["No", "Age"], ["1", 50]], "Log": [["No", "Date", "What", "Stent", "Why"], *lines]}
    return read(tmp_path, sheets, layout)


def ends(found):
    """(type, day of removal, reason) of every stent, -1 where none is known."""
    stents = found.registry.stents[["stent_type", "removed_day", "end_reason"]].astype(object)
    return [tuple(row) for row in stents.where(stents.notna(), -1).to_numpy().tolist()]


def problems(found, rule="STENT_END"):
    listed = found.registry.findings
    return listed.loc[listed["rule"] == rule, "problem"].tolist()


def test_a_row_that_names_no_stent_ends_all_that_are_in(tmp_path):
    found = log(tmp_path, (0, "Drainage", BOTH), (20, "Stent out", "", "planned"))
    assert ends(found) == [("lumen_apposing", 20, "planned"), ("double_pigtail", 20, "planned")]
    assert problems(found) == [] == told(found, "REMOVAL_NOT_READ")


def test_a_stent_placed_on_that_day_or_later_stays(tmp_path):
    rows = [
        (0, "Drainage", "LAMS 15"),
        (20, "Stent out", "", "planned"),
        (20, "Exchange", "DPT 7Fr"),
        (30, "Exchange", "DPT 10Fr"),
    ]
    assert ends(log(tmp_path, *rows)) == [
        ("lumen_apposing", 20, "planned"),
        ("double_pigtail", -1, -1),
        ("double_pigtail", -1, -1),
    ]


def test_a_stent_that_is_named_is_ended_alone(tmp_path):
    found = log(tmp_path, (0, "Drainage", BOTH), (20, "Stent out", "LAMS", "planned"))
    assert ends(found) == [("lumen_apposing", 20, "planned"), ("double_pigtail", -1, -1)]


def test_rows_are_taken_in_order_of_their_days(tmp_path):
    found = log(
        tmp_path, (0, "Drainage", BOTH), (30, "Stent out", "", "planned"), (20, "Stent out", "LAMS", "migrated")
    )
    assert ends(found) == [("lumen_apposing", 20, "migrated"), ("double_pigtail", 30, "planned")]


def test_as_many_as_are_named_are_ended(tmp_path):
    found = log(tmp_path, (0, "Drainage", "2 x DPT 7Fr"), (20, "Stent out", "2 x DPT", "planned"))
    assert ends(found) == [("double_pigtail", 20, "planned")] * 2


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ([(0, "Drainage", "2 x DPT 7Fr"), (20, "Stent out", "DPT", "")], "ends 1 stent, and 2 such were in by then"),
        (
            [(0, "Drainage", "LAMS 15"), (20, "Stent out", "DPT", "")],
            "ends a stent, and none such that it could mean was in by then",
        ),
        (
            [(0, "Drainage", "LAMS 15"), (20, "Stent out", "", ""), (25, "Stent out", "", "")],
            "ends a stent, and none such that it could mean was in by then",
        ),
    ],
    ids=["several", "another", "again"],
)
def test_a_row_whose_stent_cannot_be_told_is_set_aside_and_said(tmp_path, rows, problem):
    found = log(tmp_path, *rows)
    assert problems(found) == [problem]
    aside = found.registry.set_aside
    assert aside.loc[aside["rule"] == "STENT_END", ["table", "sheet", "row", "scope"]].to_numpy().tolist() == [
        ["stents", "Log", len(rows) + 1, "row"]
    ]
    assert problems(found, "REQUIRED") == []


def test_a_reason_that_may_be_that_of_one_stent_is_not_given_to_several(tmp_path):
    found = log(tmp_path, (0, "Drainage", BOTH), (20, "Stent out", "", "migrated"))
    assert ends(found) == [("lumen_apposing", 20, -1), ("double_pigtail", 20, -1)]
    assert told(found, "WHICH_STENT") == [("Log", 3, "Why", "migrated")]


def test_a_reason_that_is_on_no_list_is_said_and_the_day_stays(tmp_path):
    found = log(tmp_path, (0, "Drainage", "LAMS 15"), (20, "Stent out", "", "whim"))
    assert ends(found) == [("lumen_apposing", 20, -1)]
    assert told(found, "NOT_LISTED") == [("Log", 3, "Why", "whim")]


def test_a_day_that_is_no_date_ends_nothing_and_is_said(tmp_path):
    sheets = {
        "People": [["No", "Age"], ["1", 50]],
        "Log": [
            ["No", "Date", "What", "Stent", "Why"],
            ["1", INDEX, "Drainage", "LAMS 15"],
            ["1", "31/06/2024", "Stent out", "", "planned"],
        ],
    }
    found = read(tmp_path, sheets, LAYOUT)
    assert ends(found) == [("lumen_apposing", -1, -1)]
    assert {(sheet, row) for sheet, row, *_ in told(found, "NOT_A_DATE")} == {("Log", 3)}


def test_removals_that_end_no_stent_are_said_once_with_their_number(tmp_path):
    without = LAYOUT.partition('[[sheet.rows]]\ntable = "stents"')[0]
    found = log(tmp_path, (0, "Drainage", BOTH), (20, "Stent out"), (30, "Stent out"), layout=without)
    assert problems(found, "REMOVAL_NOT_READ") == [
        "is one of 2 removals of stents after which a stent of the patient is still without an end"
    ]


def test_a_stent_may_be_named_by_the_id_it_has_in_the_export(tmp_path):
    layout = LAYOUT.replace('"Stent" = "stent", "Why"', '"Stent" = "stent_id", "Why"').replace('"Stent" = "stents"', "")
    layout += """
[[sheet]]
name = "Stents"
patient = "No"
rows = [{ table = "stents", columns = { "Id" = "stent_id", "Kind" = "stent_type", "In" = "placed_day" } }]
"""
    sheets = {
        "People": [["No", "Age"], ["1", 50]],
        "Stents": [["No", "Id", "Kind", "In"], ["1", "ST-1", "LAMS", INDEX], ["1", "ST-2", "LAMS", INDEX]],
        "Log": [
            ["No", "Date", "What", "Stent", "Why"],
            ["1", INDEX, "Drainage", "", ""],
            ["1", day(9), "Stent out", "st-2", "planned"],
            ["1", day(10), "Stent out", "st-3", "planned"],
        ],
    }
    found = read(tmp_path, sheets, layout)
    assert ends(found) == [("lumen_apposing", -1, -1), ("lumen_apposing", 9, "planned")]
    assert problems(found) == ["names a stent that is none of the patient's, or more than one"]


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('"Date" = "removed_day", "Stent"', '"Stent"', 'no column becomes "removed_day"'),
        ('table = "stents"', 'table = "scans"', "stands with a table other than stents"),
    ],
)
def test_ends_stents_needs_stents_and_a_day(old, new, problem):
    with pytest.raises(RegistryError) as caught:
        parse_layout(LAYOUT.replace(old, new))
    assert problem in caught.value.findings["problem"].tolist()
