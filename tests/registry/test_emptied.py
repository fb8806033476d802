"""A table of which every row was set aside is not one of noes, read as it stands or out of an export, and written."""

from __future__ import annotations

import pytest

from builders.exports import INDEX, TOP, read, read_wide, told, wide_line, workbook
from builders.registry_files import faultless, finding, registry_of, spoilt
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.tidying import tidy
from necrostats.registry.loading import read_registry


def recorded(registry, table):
    return registry.recorded.has(table)


def test_interventions_that_were_all_set_aside_are_not_none(tmp_path):
    registry = registry_of(tmp_path, spoilt("other_interventions", 0, day="soon"))
    assert not recorded(registry, "other_interventions")
    assert "counts as not recorded" in finding(registry, "ALL_SET_ASIDE").problem


def test_a_table_with_its_headings_only_says_that_there_were_none(tmp_path):
    tables = faultless()
    tables["other_interventions"] = []
    registry = registry_of(tmp_path, tables)
    assert recorded(registry, "other_interventions")
    assert registry.findings.empty


def test_a_table_of_which_a_row_is_kept_is_recorded(tmp_path):
    tables = spoilt("other_interventions", 0, day="soon")
    tables["other_interventions"].append({"patient_id": "P01", "day": "10", "kind": "ercp"})
    registry = registry_of(tmp_path, tables)
    assert recorded(registry, "other_interventions")
    lost = registry.set_aside[registry.set_aside["table"] == "other_interventions"]
    assert lost["patient_id"].tolist() == ["P02"]


def test_rows_that_follow_a_patient_who_is_set_aside_leave_a_table_of_noes(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 1, death_day=""))
    assert registry.patients["patient_id"].tolist() == ["P01"]
    assert recorded(registry, "other_interventions")


def test_a_row_set_aside_of_a_patient_who_is_set_aside_too_leaves_a_table_of_noes(tmp_path):
    tables = spoilt("patients", 1, death_day="")
    tables["other_interventions"][0]["kind"] = "something else"
    assert recorded(registry_of(tmp_path, tables), "other_interventions")


def drained(*cells):
    return [
        ["Study no", "Index", "DEN1 date", "DEN1 compl", "Drain"],
        *([str(number), INDEX, "10/03/24", "nil", cell] for number, cell in enumerate(cells, start=1)),
    ]


LAYOUT = (
    TOP
    + """
[[sheet]]
name = "DEN"
patient = "Study no"
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
columns = { "DEN1 date" = "day", "DEN1 compl" = "event" }
[[sheet.rows]]
table = "other_interventions"
constants = { kind = "percutaneous_drain" }
columns = { "Drain" = { to = "day", codes = { no = "" } } }
"""
)


def test_drains_of_an_export_that_were_all_set_aside_are_not_none(tmp_path):
    found = read(tmp_path, {"DEN": drained("soon", "no")}, LAYOUT)
    assert not recorded(found.registry, "other_interventions")
    assert told(found, "ALL_SET_ASIDE")


@pytest.mark.parametrize("cells", [("no", "no"), ("12/03/24", "soon")])
def test_drains_of_which_none_was_written_or_one_was_read_are_recorded(tmp_path, cells):
    found = read(tmp_path, {"DEN": drained(*cells)}, LAYOUT)
    assert recorded(found.registry, "other_interventions")
    assert not told(found, "ALL_SET_ASIDE")


@pytest.mark.parametrize("rows_at_once", [50_000, 1])
def test_tidying_writes_no_empty_table_for_rows_that_were_set_aside(tmp_path, rows_at_once):
    book = workbook(tmp_path / "unit.xlsx", {"DEN": drained("soon", "no", "later")})
    tidy(book, parse_layout(LAYOUT), tmp_path / "tidied", rows_at_once=rows_at_once)
    assert not (tmp_path / "tidied" / "other_interventions.csv").exists()
    assert (tmp_path / "tidied" / "adverse_events.csv").exists()
    assert not recorded(read_registry(tmp_path / "tidied"), "other_interventions")


def test_events_that_could_not_be_read_are_listed_with_their_patient_as_events_and_leave_no_table_of_noes(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date="10/03/24", DEN1_compl="bleeding and perforation"))
    assert not recorded(found.registry, "adverse_events")
    listed = found.registry.set_aside
    lost = listed[listed["table"] == "adverse_events"]
    assert lost[["scope", "column", "patient_id", "row"]].to_numpy().tolist() == [["row", "DEN1 compl", "P0001", 2]]
    source = found.registry.source
    assert (source.rows_read["adverse_events"], source.rows_kept["adverse_events"]) == (1, 0)


def test_an_event_that_could_not_be_read_is_no_session_without_one_though_another_column_says_looked(tmp_path):
    layout = LAYOUT.replace('"DEN1 compl" = "event"', '"DEN1 compl" = "event", "Looked" = "events_checked"')
    head, *lines = drained("no", "no")
    sheet = [[*head, "Looked"], *([*line, "yes"] for line in lines)]
    sheet[1][3] = "bleeding and perforation"
    found = read(tmp_path, {"DEN": sheet}, layout)
    sessions = found.registry.sessions[found.registry.sessions["session_type"] == "necrosectomy"]
    assert sessions["events_checked"].astype(object).where(sessions["events_checked"].notna(), None).tolist() == [
        None,
        True,
    ]
    assert [(row, column) for _, row, column, _ in told(found, "EVENT_SET_ASIDE")] == [(2, "Looked")]


@pytest.mark.parametrize("key", ["constants", "fill"])
def test_nor_where_the_layout_says_it_of_every_session(tmp_path, key):
    layout = (
        LAYOUT.replace('session_type = "necrosectomy"', 'session_type = "necrosectomy", events_checked = "yes"')
        if key == "constants"
        else LAYOUT.replace("[fill]", '[fill]\n"sessions.events_checked" = "yes"')
    )
    sheet = drained("no", "no")
    sheet[1][3] = "bleeding and perforation"
    found = read(tmp_path, {"DEN": sheet}, layout)
    sessions = found.registry.sessions[found.registry.sessions["day"] == 9]
    assert sessions["events_checked"].isna().tolist() == [True, False]
