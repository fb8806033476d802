from __future__ import annotations

import pytest

from builders.html import parsed, problems, table_of
from builders.registries import registry_with_findings, small_registry
from necrostats.errors import ChoiceError
from necrostats.present import table
from necrostats.report.listings import count_findings, list_findings, list_set_aside, what_was_read


@pytest.fixture(scope="module")
def registry():
    return registry_with_findings()


def rows(listing):
    return [list(row) for row in listing.frame.itertuples(index=False)]


def test_rows_read_are_rows_kept_and_rows_set_aside_for_every_table(registry):
    listed = what_was_read(registry).frame.set_index("table")
    assert len(listed) == 9
    assert list(listed.loc["sessions", ["rows_read", "rows_kept", "rows_set_aside"]]) == [5, 3, 2]
    assert (listed["rows_read"] == listed["rows_kept"] + listed["rows_set_aside"]).all()


def test_each_finding_says_where_what_was_written_and_what_to_do(registry):
    assert rows(list_findings(registry, "stops")) == [
        ['unit.xlsx, sheet "sessions", row 4, "day"', "<b>", "is not a number of days", "Write the number of days."],
        ['unit.xlsx, sheet "sessions", row 5, "day"', "soon", "is not a number of days", "Write the number of days."],
    ]
    assert rows(list_findings(registry, "asks")) == [["unit.xlsx", "", "yields are in two units", ""]]
    assert rows(list_findings(registry, "notes")) == []


def test_counted_findings_hold_no_row_no_value_and_no_id(registry):
    listed = count_findings(registry)
    assert rows(listed) == [
        ["stops", "sessions", "day", "not a date", 2],
        ["asks", "sessions", "", "mixed units", 1],
    ]


def test_what_was_set_aside_is_counted_by_its_reason(registry):
    assert rows(list_set_aside(registry)) == [
        ["sessions", "row", "NOT_A_DATE", 2],
        ["sessions", "cell", "NOT_A_NUMBER", 1],
    ]


def test_an_unknown_severity_is_answered_with_the_list(registry):
    with pytest.raises(ChoiceError, match="stops, asks, notes"):
        list_findings(registry, "stop")


def test_a_value_as_written_stays_text_in_the_table(registry):
    root = parsed(table(list_findings(registry, "stops")).html)
    assert table_of(root.all("table")[0])[1][1] == "<b>"
    assert root.all("b") == []


def test_nothing_found_is_said_to_be_nothing():
    registry = small_registry()
    for listing in (list_findings(registry, "stops"), count_findings(registry), list_set_aside(registry)):
        assert "None." in parsed(table(listing).html).text


def test_a_listing_as_a_table_has_a_scope_for_every_heading(registry):
    page = f"<html><title>x</title><main><h1>x</h1>{table(what_was_read(registry)).html}</main></html>"
    assert problems(page) == []
