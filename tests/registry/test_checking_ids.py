"""Ids that occur twice, parents that do not exist, things of another patient.

Time zero: one index collection a patient, drained on day 0.

The same thing entered twice.
"""

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
        (
            "sessions",
            {
                "session_id": "S09",
                "patient_id": "P09",
                "collection_id": "C01",
                "day": "1",
                "session_type": "inspection",
            },
        ),
        ("reviews", {"patient_id": "P09", "day": "1"}),
        ("instrument_uses", {"session_id": "S99", "instrument_class": "net"}),
    ],
)
def test_a_child_without_its_parent_is_set_aside(tmp_path, table, cells):
    registry = registry_of(tmp_path, with_row(table, **cells))
    assert [rule for name, _, rule in set_aside(registry) if name == table] == ["ORPHAN"]


@pytest.mark.parametrize(
    ("table", "column"),
    [
        ("adverse_events", "session_id"),
        ("adverse_events", "stent_id"),
        ("stents", "collection_id"),
        ("collections", "communicates_with"),
    ],
)
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
    ("table", "column", "wrong"),
    [
        ("adverse_events", "session_id", "S03"),
        ("stents", "collection_id", "C02"),
        ("collections", "communicates_with", "C02"),
    ],
)
def test_an_optional_id_of_another_patient_goes_alone(tmp_path, table, column, wrong):
    registry = registry_of(tmp_path, spoilt(table, 0, **{column: wrong}))
    assert finding(registry, "OTHER_PATIENT").value == wrong
    assert set_aside(registry, "cell") == [(table, 2, column)]


def test_an_event_outlives_its_session_but_no_longer_names_it(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, session_type="dien"))
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


def test_two_index_collections_set_the_patient_aside(tmp_path):
    registry = registry_of(tmp_path, with_row("collections", collection_id="C03", patient_id="P01", is_index="yes"))
    assert rules(registry).count("TWO_INDEX") == 2
    assert ("patients", 2, "TWO_INDEX") in set_aside(registry)
    assert registry.patients["patient_id"].tolist() == ["P02"]
    assert (registry.position("collections") >= 0).all()


def test_no_index_collection_sets_the_patient_aside(tmp_path):
    registry = registry_of(tmp_path, spoilt("collections", 0, is_index="no"))
    assert finding(registry, "NO_INDEX").value == "P01"
    assert registry.patients["patient_id"].tolist() == ["P02"]


def test_a_lone_collection_left_unmarked_is_taken_and_asked_about(tmp_path):
    registry = registry_of(tmp_path, spoilt("collections", 0, is_index=""))
    assert rules(registry) == ["INDEX_UNMARKED"]
    assert registry.collections["is_index"].tolist() == [True, True]
    assert finding(registry, "INDEX_UNMARKED").severity == "asks"


def test_a_second_collection_left_unmarked_is_set_aside(tmp_path):
    registry = registry_of(tmp_path, with_row("collections", collection_id="C03", patient_id="P01"))
    assert set_aside(registry) == [("collections", 4, "REQUIRED")]


def test_a_first_drainage_after_day_0_sets_the_patient_aside(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 0, day="3"))
    assert finding(registry, "LATE_INDEX").value == "P01"
    assert ("patients", 2, "LATE_INDEX") in set_aside(registry)


def test_no_drainage_at_all_is_asked_about(tmp_path):
    tables = faultless()
    tables["sessions"].pop(0)
    registry = registry_of(tmp_path, tables)
    assert finding(registry, "NO_INDEX_DRAINAGE").value == "P01"
    assert len(registry.patients) == 2


def test_a_late_drainage_is_only_asked_about_when_a_session_of_the_patient_was_set_aside(tmp_path):
    tables = spoilt("sessions", 0, day="31/02/2026")
    tables["sessions"][1]["session_type"] = "drainage"
    registry = registry_of(tmp_path, tables)
    assert "LATE_INDEX" not in rules(registry)
    assert finding(registry, "NO_INDEX_DRAINAGE").value == "P01"


def test_day_0_spent_on_another_collection_is_asked_about(tmp_path):
    tables = with_row("collections", collection_id="C03", patient_id="P01", is_index="no")
    tables["sessions"][0]["collection_id"] = "C03"
    assert rules(registry_of(tmp_path / "a", tables)) == ["INDEX_NOT_DRAINED"]
    tables["sessions"][0]["also_treated"] = "C01"
    assert rules(registry_of(tmp_path / "b", tables)) == []


def test_a_combined_session_on_day_0_is_an_index_drainage(tmp_path):
    tables = spoilt("sessions", 0, session_type="drainage_and_necrosectomy")
    tables["instrument_uses"].append({"session_id": "S01", "instrument_class": "net"})
    assert registry_of(tmp_path, tables).findings.empty


@pytest.mark.parametrize(
    ("table", "row", "other"),
    [
        ("sessions", 0, {"session_id": "S00"}),
        ("scans", 0, {"scan_id": "N09", "modality": "mri"}),
        ("reviews", 0, {"fever": "no"}),
        ("other_interventions", 0, {"reason": "fluid"}),
        ("instrument_uses", 0, {"is_primary": "no", "minutes": "1"}),
    ],
)
def test_a_row_like_another_is_asked_about_and_both_count(tmp_path, table, row, other):
    tables = faultless()
    tables[table].insert(row, {**tables[table][row], **other})
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["SAME_AGAIN"] * 2
    assert len(registry.tables[table]) == len(tables[table])


def test_two_stents_and_two_events_on_one_day_are_nothing_strange(tmp_path):
    tables = faultless()
    tables["stents"].append({**tables["stents"][0], "stent_id": "T02"})
    tables["adverse_events"].append({**tables["adverse_events"][0], "event_id": "E02", "event_type": "perforation"})
    assert registry_of(tmp_path, tables).findings.empty
