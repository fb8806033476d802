"""Ids that occur twice, parents that do not exist, things of another patient."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt, with_row


def test_a_blank_required_cell_sets_its_row_aside(tmp_path):
    registry = registry_of(tmp_path, spoilt("scans", 0, day=""))
    assert finding(registry, "REQUIRED").column == "day"
    assert set_aside(registry) == [("scans", 2, "REQUIRED")]


def test_the_same_row_twice_word_for_word_keeps_the_first(tmp_path):
    tables = faultless()
    tables["scans"].append(dict(tables["scans"][0]))
    registry = registry_of(tmp_path, tables)
    assert set_aside(registry) == [("scans", 4, "DUPLICATE_ROW")]
    assert len(registry.scans) == 2
    assert finding(registry, "DUPLICATE_ROW").severity == "asks"


def test_one_id_with_two_contents_keeps_none_and_its_children_follow(tmp_path):
    tables = faultless()
    tables["sessions"].append({**tables["sessions"][1], "day": "9"})
    registry = registry_of(tmp_path, tables)
    assert rules(registry).count("DUPLICATE_ID") == 2
    assert set_aside(registry) == [
        ("instrument_uses", 2, "PARENT_SET_ASIDE"),
        ("instrument_uses", 3, "PARENT_SET_ASIDE"),
        ("sessions", 3, "DUPLICATE_ID"),
        ("sessions", 5, "DUPLICATE_ID"),
    ]


def test_ids_that_differ_only_in_case_are_the_same_id(tmp_path):
    tables = faultless()
    tables["scans"].append({**tables["scans"][0], "scan_id": "n01"})
    assert set_aside(registry_of(tmp_path, tables)) == [("scans", 4, "DUPLICATE_ROW")]


def test_two_copies_and_a_different_one_are_all_set_aside(tmp_path):
    tables = faultless()
    tables["scans"] += [dict(tables["scans"][0]), {**tables["scans"][0], "day": "41"}]
    registry = registry_of(tmp_path, tables)
    assert [row for _, row, rule in set_aside(registry) if rule == "DUPLICATE_ID"] == [2, 4, 5]


@pytest.mark.parametrize(
    ("table", "cells"),
    [
        ("sessions", {"session_id": "S09", "patient_id": "P09", "collection_id": "C01", "day": "1",
                      "session_type": "inspection"}),
        ("reviews", {"patient_id": "P09", "day": "1"}),
        ("instrument_uses", {"session_id": "S99", "instrument_class": "net"}),
    ],
)  # fmt: skip
def test_a_child_without_its_parent_is_set_aside(tmp_path, table, cells):
    registry = registry_of(tmp_path, with_row(table, **cells))
    assert [rule for name, _, rule in set_aside(registry) if name == table] == ["ORPHAN"]


@pytest.mark.parametrize(
    ("table", "column"), [("adverse_events", "session_id"), ("adverse_events", "stent_id"), ("stents", "collection_id"),
                          ("collections", "communicates_with")]
)  # fmt: skip
def test_an_optional_id_that_names_nothing_goes_alone(tmp_path, table, column):
    registry = registry_of(tmp_path, spoilt(table, 0, **{column: "X99"}))
    assert set_aside(registry, "cell") == [(table, 2, column)]
    assert set_aside(registry) == []
    assert finding(registry, "ORPHAN").value == "X99"


@pytest.mark.parametrize(("table", "row"), [("sessions", 1), ("scans", 0)])
def test_a_collection_of_another_patient_sets_the_row_aside(tmp_path, table, row):
    registry = registry_of(tmp_path, spoilt(table, row, collection_id="C02"))
    assert (table, row + 2, "OTHER_PATIENT") in set_aside(registry)


@pytest.mark.parametrize(
    ("table", "column", "wrong"), [("adverse_events", "session_id", "S03"), ("stents", "collection_id", "C02"),
                                   ("collections", "communicates_with", "C02")]
)  # fmt: skip
def test_an_optional_id_of_another_patient_goes_alone(tmp_path, table, column, wrong):
    registry = registry_of(tmp_path, spoilt(table, 0, **{column: wrong}))
    assert finding(registry, "OTHER_PATIENT").value == wrong
    assert set_aside(registry, "cell") == [(table, 2, column)]


def test_an_event_outlives_its_session_but_no_longer_names_it(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, session_type="den"))
    assert len(registry.adverse_events) == 1
    assert ("adverse_events", 2, "session_id") in set_aside(registry, "cell")
    assert registry.position("adverse_events", "sessions").tolist() == [-1]


@pytest.mark.parametrize("wrong", ["C99", "C02", "C01;C99"])
def test_further_collections_must_exist_and_belong_to_the_patient(tmp_path, wrong):
    registry = registry_of(tmp_path, spoilt("sessions", 1, also_treated=wrong))
    assert finding(registry, "ALSO_TREATED").value == wrong
    assert set_aside(registry, "cell") == [("sessions", 3, "also_treated")]


def test_further_collections_of_the_patient_are_kept(tmp_path):
    tables = with_row("collections", collection_id="C03", patient_id="P01", is_index="no", detected_day="20")
    tables["sessions"][1]["also_treated"] = "c03"
    registry = registry_of(tmp_path, tables)
    assert registry.findings.empty
    assert registry.sessions["also_treated"].tolist()[1] == "C03"


def test_a_communicating_collection_may_stand_further_down(tmp_path):
    tables = with_row("collections", collection_id="C03", patient_id="P01", is_index="no")
    tables["collections"][0]["communicates_with"] = "C03"
    registry = registry_of(tmp_path, tables)
    assert registry.findings.empty
    assert registry.collections["communicates_with"].tolist()[0] == "C03"
