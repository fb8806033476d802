from __future__ import annotations

import pandas as pd
import pytest

from builders.html import parsed, problems, table_of
from builders.registries import registry_with_findings, small_registry
from necrostats.errors import ChoiceError
from necrostats.present import table
from necrostats.registry.tables import Source, registry_from
from necrostats.report.overview import (
    count_findings,
    list_findings,
    list_set_aside,
    review_period,
    status,
    what_was_read,
)


def test_the_status_line_says_what_was_counted_how_far_it_reaches_and_where_it_came_from():
    lines = status(registry_with_findings(), period="2026Q3").lines
    assert lines[0] == "2 patients, 3 sessions, 2026Q1 to 2026Q3; this review: 2026Q3."
    assert lines[1] == (
        "The records were frozen (data lock) 20 to 200 days after the index drainage: "
        "1 of 2 patients can be judged at day 180."
    )
    assert lines[2].startswith("Data: unit.xlsx, fingerprint 3fa9c1d2e4b1 (SHA-256); read by necrostats ")
    assert lines[3] == "Findings: 2 that stop, 1 that ask, 0 notes; set aside: 2 rows, 1 cell."


def test_what_outcomes_and_events_rest_on_is_counted_where_it_is_missing():
    assert status(small_registry()).lines[4] == (
        "Missing: 2 of 3 sessions without word that adverse events were looked for; "
        "1 of 2 patients without a scan after day 0; 1 of 2 patients without a review after day 0."
    )


def test_sessions_that_no_review_can_show_are_counted():
    patients = pd.DataFrame({"patient_id": ["A"], "observed_days": [20]})
    sessions = pd.DataFrame({"session_id": ["S1"], "patient_id": ["A"], "day": [0]})
    registry = registry_from({"patients": patients, "sessions": sessions})
    lines = status(registry).lines
    assert "1 of 1 session without a period, so in no review" in lines[4]
    assert lines[1].startswith("The records were frozen (data lock) 20 days after the index drainage")


def test_the_period_travels_with_what_is_shown():
    shown, beside = status(small_registry(), period="2026Q1")._repr_mimebundle_()
    assert "2026Q1" in shown["text/html"] and beside == {"necrostats_period": "2026Q1"}
    assert status(small_registry())._repr_mimebundle_()[1] == {}


def test_the_folder_a_file_came_from_is_not_shown():
    assert "somebody" not in str(status(registry_with_findings()))


def test_an_empty_registry_has_a_status_too():
    lines = status(registry_from({})).lines
    assert lines[0] == "0 patients, 0 sessions."
    assert lines[1] == "When the records were frozen nobody had been observed."
    assert lines[4] == "Missing: nothing of what outcomes and adverse events rest on."


def test_the_period_under_review_is_the_one_given_or_the_last():
    registry = small_registry()
    assert review_period(registry, "2026Q1") == "2026Q1"
    assert review_period(registry) == "2026Q3"
    assert review_period(registry_from({})) == ""


def test_a_name_with_markup_in_it_is_shown_as_text():
    root = parsed(status(small_registry(source=Source(name="<script>.csv")))._repr_html_())
    assert root.all("script") == []
    assert "<script>.csv" in root.text


def test_a_name_of_a_file_that_turns_the_writing_is_written_out():
    shown = status(small_registry(source=Source(name="unit\u202exslx.csv")))._repr_html_()
    assert "unit[U+202E]xslx.csv" in shown and "\u202e" not in shown


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
