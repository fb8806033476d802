"""Alive or dead, until when, how many sessions, entered once."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt


@pytest.mark.parametrize(
    ("row", "cells", "rule"),
    [
        (1, {"death_day": ""}, "DEATH_WITHOUT_DAY"),
        (0, {"death_day": "80"}, "DAY_WITHOUT_DEATH"),
        (1, {"last_contact_day": "81"}, "AFTER_DEATH"),
        (0, {"last_contact_day": "201"}, "AFTER_LOCK"),
        (1, {"observed_days": "79", "last_contact_day": "70"}, "AFTER_LOCK"),
    ],
)
def test_a_patient_who_contradicts_himself_is_set_aside(tmp_path, row, cells, rule):
    registry = registry_of(tmp_path, spoilt("patients", row, **cells))
    assert ("patients", row + 2, rule) in set_aside(registry)
    assert len(registry.patients) == 1


def test_a_last_contact_before_death_or_on_its_last_possible_day_is_fine(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 1, last_contact_day="85", death_day_latest="90"))
    assert registry.findings.empty


@pytest.mark.parametrize(
    ("cells", "rule", "severity"),
    [
        ({"onset_day": "5"}, "OFF_SCALE", "stops"),
        ({"onset_day": "-20"}, "UNLIKELY", "asks"),
        ({"age_years": "17"}, "UNLIKELY", "asks"),
        ({"asa_class": "6"}, "OFF_SCALE", "stops"),
        ({"comorbidity_index": "38"}, "OFF_SCALE", "stops"),
    ],
)
def test_values_off_the_scale_stop_the_cell_and_unlikely_ones_ask(tmp_path, cells, rule, severity):
    registry = registry_of(tmp_path, spoilt("patients", 0, **cells))
    assert finding(registry, rule).severity == severity
    column = next(iter(cells))
    assert registry.patients[column].isna()[0] == (severity == "stops")


def test_more_than_23_sessions_are_asked_about(tmp_path):
    tables = faultless()
    tables["sessions"] = tables["sessions"][2:] + [
        {**tables["sessions"][0], "session_id": f"S{number + 10}", "day": str(number)} for number in range(24)
    ]
    tables["instrument_uses"] = []
    tables["adverse_events"] = []
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["MANY_SESSIONS"]
    assert "24 sessions" in finding(registry, "MANY_SESSIONS").problem


def test_one_patient_under_two_ids_is_asked_about(tmp_path):
    tables = faultless()
    tables["patients"].append({**tables["patients"][0], "patient_id": "P03"})
    tables["collections"].append({**tables["collections"][0], "collection_id": "C03", "patient_id": "P03"})
    tables["instrument_uses"].append({"session_id": "S05", "instrument_class": "net"})
    for number, session in ((4, tables["sessions"][0]), (5, tables["sessions"][1])):
        tables["sessions"].append(
            {**session, "session_id": f"S0{number}", "patient_id": "P03", "collection_id": "C03"}
        )
    registry = registry_of(tmp_path / "a", tables)
    assert rules(registry) == ["SAME_PATIENT_TWICE"] * 2
    tables["sessions"][-1]["day"] = "8"
    assert registry_of(tmp_path / "b", tables).findings.empty
