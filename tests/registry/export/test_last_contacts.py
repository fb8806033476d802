"""Several last contacts of one patient in a log."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import INDEX, TOP, read, told

LAYOUT = (
    TOP
    + """
[[sheet]]
name = "People"
patient = "No"
rows = [{ table = "patients", columns = { "Index" = "index_date" } }]
[[sheet]]
name = "Log"
patient = "No"
rows = [{ table = "patients", columns = { "Date" = "last_contact_day", "Status" = "vital_status" } }]
"""
)


def log(tmp_path, *rows, layout=LAYOUT):
    """Rows (day, status) of one patient."""
    dated = [["1", date.fromordinal(INDEX.toordinal() + number), status] for number, status in rows]
    sheets = {"People": [["No", "Index"], ["1", INDEX]], "Log": [["No", "Date", "Status"], *dated]}
    return read(tmp_path, sheets, layout)


@pytest.mark.parametrize(
    ("rows", "kept", "severity"),
    [
        ([(100, "alive"), (40, "alive")], (100, "alive"), "notes"),
        ([(40, "alive"), (100, "alive"), (70, "alive")], (100, "alive"), "notes"),
        ([(40, "alive"), (100, "")], (100, "alive"), "asks"),
        ([(40, "alive")], (40, "alive"), None),
    ],
)
def test_the_latest_of_several_last_contacts_counts_and_is_said(tmp_path, rows, kept, severity):
    found = log(tmp_path, *rows)
    assert found.registry.patients[["last_contact_day", "vital_status"]].to_numpy().tolist() == [list(kept)]
    findings = found.registry.findings
    assert (
        findings.loc[findings["rule"] == "SEVERAL_LAST_CONTACTS", "severity"].tolist() == [severity][: bool(severity)]
    )


def test_a_death_is_not_undone_by_a_later_contact(tmp_path):
    dying = (
        LAYOUT
        + """
[[sheet]]
name = "Deaths"
patient = "No"
rows = [{ table = "patients", columns = { "Died" = "death_day" } }]
"""
    )
    sheets = {
        "People": [["No", "Index"], ["1", INDEX]],
        "Log": [["No", "Date", "Status"], ["1", date(2024, 5, 1), "dead"], ["1", date(2024, 7, 1), "alive"]],
        "Deaths": [["No", "Died"], ["1", date(2024, 5, 1)]],
    }
    found = read(tmp_path, sheets, dying)
    assert found.registry.patients[["last_contact_day", "vital_status"]].to_numpy().tolist() == [[61, "dead"]]
    assert [row for _, row, *_ in told(found, "SEVERAL_LAST_CONTACTS")] == [2]


def test_two_rows_of_a_patient_that_say_more_than_a_last_contact_still_stop(tmp_path):
    more = LAYOUT.replace('"Status" = "vital_status"', '"Status" = "vital_status", "Age" = "age_years"')
    sheets = {
        "People": [["No", "Index"], ["1", INDEX], ["2", INDEX]],
        "Log": [
            ["No", "Date", "Status", "Age"],
            ["1", date(2024, 5, 1), "alive", 50],
            ["1", date(2024, 7, 1), "alive", 50],
        ],
    }
    found = read(tmp_path, sheets, more)
    assert {rule for rule in found.registry.findings["rule"] if rule == "DUPLICATE_ID"} == {"DUPLICATE_ID"}
    assert len(found.registry.patients) == 1
