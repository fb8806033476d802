"""Rows that stand a second time word for word count once, whatever names them; what differs in one word stays two."""

from __future__ import annotations

import pytest

from builders.exports import INDEX, TOP, read, told

LISTS = (
    TOP
    + """
[[sheet]]
name = "Patients"
patient = "P"
[[sheet.rows]]
table = "patients"
columns = { "Index" = { to = "index_date", session = false } }
[[sheet]]
name = "Scopes*"
patient = "P"
[[sheet.rows]]
table = "sessions"
columns = { "Date" = "day", "Tools" = "instruments", "Event" = "event" }
constants = { session_type = "necrosectomy" }
"""
)
PEOPLE = [["P", "Index"], ["1", INDEX], ["2", INDEX]]
HEAD = ["P", "Date", "Tools", "Event", "Free"]
ONE = ["1", "10/03/24", "snare", "bleeding", "calm"]


def days(found, table="sessions"):
    frame = found.registry.tables[table]
    return list(zip(frame["patient_id"].astype(object), frame["day"].astype(int), strict=True))


def lists(tmp_path, *lines, **more):
    return read(tmp_path, {"Patients": PEOPLE, "Scopes": [HEAD, *lines], **more}, LISTS)


def test_a_session_without_an_id_that_stands_twice_counts_once_and_so_does_its_event(tmp_path):
    found = lists(tmp_path, ONE, ["2", *ONE[1:]], ONE)
    assert days(found) == [("P0001", 9), ("P0002", 9)]
    assert days(found, "adverse_events") == [("P0001", 9), ("P0002", 9)]
    assert [(sheet, row) for sheet, row, _, _ in told(found, "DUPLICATE_ROW")] == [("Scopes", 4)]
    assert found.registry.set_aside["patient_id"].tolist() == ["P0001"]


@pytest.mark.parametrize("place", range(1, len(HEAD)))
def test_a_row_that_differs_in_one_cell_read_or_not_is_another(tmp_path, place):
    other = ["11/03/24", "net", "nil", "restless"]
    found = lists(tmp_path, ONE, [*ONE[:place], other[place - 1], *ONE[place + 1 :]])
    assert len(days(found)) == 2
    assert told(found, "DUPLICATE_ROW") == []


def test_the_same_row_in_two_sheets_that_are_read_alike_counts_once(tmp_path):
    found = lists(tmp_path, ONE, **{"Scopes 2025": [HEAD, ONE, ["2", *ONE[1:]]]})
    assert days(found) == [("P0001", 9), ("P0002", 9)]
    assert [(sheet, row) for sheet, row, _, _ in told(found, "DUPLICATE_ROW")] == [("Scopes 2025", 2)]


def test_a_copy_of_a_row_that_is_set_aside_for_another_reason_is_the_first(tmp_path):
    layout = LISTS.replace('name = "Scopes*"', 'name = "Scopes*"\nskip_rows = [2]')
    found = read(tmp_path, {"Patients": PEOPLE, "Scopes": [HEAD, ONE, ONE]}, layout)
    assert days(found) == [("P0001", 9)]
    assert told(found, "DUPLICATE_ROW") == []


def test_two_stents_of_one_kind_placed_side_by_side_are_two(tmp_path):
    layout = (
        LISTS.split('[[sheet]]\nname = "Scopes*"')[0]
        + """
[[sheet]]
name = "Stents"
patient = "P"
[[sheet.rows]]
table = "stents"
columns = { "Stent" = "stent", "Placed" = "placed_day" }
"""
    )
    pair = ["1", "DPT 7Fr", "01/03/24"]
    found = read(tmp_path, {"Patients": PEOPLE, "Stents": [["P", "Stent", "Placed"], pair, pair]}, layout)
    assert len(found.registry.stents) == 2


FORM = (
    TOP
    + """
[[sheet]]
name = "Case *"
labels = "A"
values = "B"
patient = "Code"
[[sheet.rows]]
table = "patients"
columns = { "Index" = { to = "index_date", session = false } }
[[sheet.rows]]
table = "sessions"
numbers = "1-2"
constants = { session_type = "necrosectomy" }
columns = { "Scope {n}" = "day", "Event {n}" = "event" }
"""
)


def form(code, second="12/03/24"):
    lines = [["Code", code], ["Index", INDEX], ["Scope 1", "10/03/24"], ["Event 1", "bleeding"], ["Scope 2", second]]
    return [*lines, ["Event 2", "nil"]]


def test_a_form_copied_under_another_name_counts_once(tmp_path):
    sheets = {"Case 1": form("X-1"), "Case 1 (2)": form("X-1"), "Case 2": form("X-2")}
    found = read(tmp_path, sheets, FORM)
    assert days(found) == [("P0001", 9), ("P0001", 11), ("P0002", 9), ("P0002", 11)]
    assert len(found.registry.adverse_events) == 2
    assert [sheet for sheet, *_ in told(found, "DUPLICATE_ROW")] == ["Case 1 (2)"]


def test_a_form_of_the_same_patient_that_says_something_else_is_no_copy(tmp_path):
    found = read(tmp_path, {"Case 1": form("X-1"), "Case 1 (2)": form("X-1", "14/03/24")}, FORM)
    assert told(found, "DUPLICATE_ROW") == []


def test_a_session_of_a_table_below_a_form_that_stands_twice_counts_once(tmp_path):
    layout = (
        FORM.split('[[sheet.rows]]\ntable = "sessions"')[0].replace(
            'patient = "Code"', 'patient = "{sheet}"\nends = ["SCOPES"]'
        )
        + """
[[sheet]]
name = "Case *"
starts = "No"
patient = "{sheet}"
ignore = ["No"]
[[sheet.rows]]
table = "sessions"
columns = { "Date" = "day", "Event" = "event" }
constants = { session_type = "necrosectomy" }
"""
    )
    scope = [3, "10/03/24", "bleeding"]
    lines = [["Code", "X-1"], ["Index", INDEX], ["SCOPES"], ["No", "Date", "Event"], scope, scope, [4, *scope[1:]]]
    found = read(tmp_path, {"Case 1": lines}, layout)
    assert len(found.registry.sessions) == 2
    assert len(found.registry.adverse_events) == 2
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ROW")] == [6]
