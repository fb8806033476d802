"""Time zero: one index collection a patient, drained on day 0."""

from __future__ import annotations

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt, with_row


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
