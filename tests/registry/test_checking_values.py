"""Yields, volumes, minutes, instruments of one session.

Grades against treatments and deaths.

Alive or dead, until when, how many sessions, entered once.
"""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt, with_row


def test_more_than_100_percent_cleared_stops(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, yield_unit="percent_cleared"))
    assert finding(registry, "OFF_SCALE").value == "200"
    assert registry.sessions[["yield_low", "yield_high"]].isna().all(axis=None)
    assert len(registry.sessions) == 3


def test_exactly_100_percent_is_fine(tmp_path):
    tables = spoilt("sessions", 1, yield_unit="percent_cleared", yield_low="100", yield_high="100")
    assert registry_of(tmp_path, tables).findings.empty


@pytest.mark.parametrize(("low", "high"), [("300", "200"), ("", "200")])
def test_a_yield_that_runs_backwards_or_has_no_low_end_is_set_aside(tmp_path, low, high):
    registry = registry_of(tmp_path, spoilt("sessions", 1, yield_low=low, yield_high=high))
    assert rules(registry) == ["YIELD_ORDER"]
    assert registry.sessions[["yield_low", "yield_high"]].isna().all(axis=None)


@pytest.mark.parametrize(("low", "high"), [("500", ""), ("0", "50")])
def test_open_ends_stay_open(tmp_path, low, high):
    assert registry_of(tmp_path, spoilt("sessions", 1, yield_low=low, yield_high=high)).findings.empty


def test_two_primary_instruments_lose_both_flags_and_the_uses_stay(tmp_path):
    tables = spoilt("instrument_uses", 1, instrument_class="net", is_primary="yes")
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["TWO_PRIMARIES"] * 2
    assert registry.instrument_uses["is_primary"].isna().all()
    assert len(registry.instrument_uses) == 2
    assert set_aside(registry, "cell") == [("instrument_uses", 2, "is_primary"), ("instrument_uses", 3, "is_primary")]


def test_yields_in_two_units_are_said_once(tmp_path):
    tables = spoilt("sessions", 2, yield_low="5", yield_high="5", yield_unit="g")
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["MIXED_UNITS"]
    assert "g (1), ml (1)" in finding(registry, "MIXED_UNITS").problem


@pytest.mark.parametrize(
    ("volume", "asked"),
    [("500", False), ("1100", True), ("261", True), ("262", False), ("1047", False), ("1048", True), ("", False)],
)
def test_a_volume_far_from_its_axes_is_asked_about(tmp_path, volume, asked):
    tables = spoilt("collections", 0, long_mm="100", mid_mm="100", short_mm="100", volume_ml=volume)
    assert rules(registry_of(tmp_path, tables)) == (["VOLUME_AND_AXES"] if asked else [])


def test_a_volume_with_an_axis_missing_is_not_judged(tmp_path):
    tables = spoilt("collections", 0, long_mm="100", mid_mm="", short_mm="100", volume_ml="9000")
    assert registry_of(tmp_path, tables).findings.empty


@pytest.mark.parametrize(("minutes", "asked"), [("66", False), ("67", True)])
def test_instruments_used_longer_than_the_session_and_a_tenth_are_asked_about(tmp_path, minutes, asked):
    registry = registry_of(tmp_path, spoilt("instrument_uses", 0, minutes=minutes))
    assert rules(registry) == (["MINUTES_OF_USES"] if asked else [])


def test_a_necrosectomy_without_an_instrument_is_asked_about(tmp_path):
    tables = {**faultless(), "instrument_uses": []}
    assert finding(registry_of(tmp_path, tables), "NO_INSTRUMENT").value == "S02"


def test_an_instrument_unknown_is_an_instrument(tmp_path):
    tables = {**faultless(), "instrument_uses": [{"session_id": "S02", "instrument_class": "?"}]}
    registry = registry_of(tmp_path, tables)
    assert registry.findings.empty
    assert registry.instrument_uses["instrument_class"].tolist() == ["unknown"]


@pytest.mark.parametrize(("percent", "rule"), [("3", None), ("5", "UNLIKELY"), ("6", "UNLIKELY"), ("6.1", "OFF_SCALE")])
def test_strong_peroxide_is_asked_about_and_too_strong_stops(tmp_path, percent, rule):
    registry = registry_of(tmp_path, spoilt("sessions", 1, peroxide_percent=percent))
    assert rules(registry) == ([rule] if rule else [])


@pytest.mark.parametrize(("table", "row"), [("sessions", 1), ("instrument_uses", 0)])
def test_a_yield_without_a_unit_is_asked_about_and_kept(tmp_path, table, row):
    registry = registry_of(tmp_path, spoilt(table, row, yield_low="120", yield_high="", yield_unit=""))
    found = finding(registry, "NO_UNIT")
    assert (found.severity, found.column, found.value) == ("asks", "yield_low", "120")
    assert registry.tables[table]["yield_low"].iloc[row] == 120


def test_a_unit_without_a_yield_is_no_question(tmp_path):
    assert registry_of(tmp_path, spoilt("sessions", 1, yield_low="", yield_high="")).findings.empty


def test_a_yield_that_was_set_aside_is_not_asked_for_its_unit(tmp_path):
    tables = spoilt("sessions", 1, yield_low="300", yield_high="200", yield_unit="")
    assert rules(registry_of(tmp_path, tables)) == ["YIELD_ORDER"]


@pytest.mark.parametrize(
    ("treatment", "grade", "asked"),
    [
        ("transfusion", "I", True),
        ("transfusion", "II", False),
        ("radiological", "II", True),
        ("endoscopic", "IIIa", False),
        ("surgical", "IIIa", True),
        ("surgical", "IIIb", False),
        ("surgical", "IVa", False),
        ("organ_support", "IIIb", True),
        ("organ_support", "IVa", False),
        ("drug", "I", False),
        ("", "I", False),
        ("surgical", "", False),
    ],
)
def test_a_grade_lower_than_its_treatment_implies_is_asked_about(tmp_path, treatment, grade, asked):
    registry = registry_of(tmp_path, spoilt("adverse_events", 0, treatment=treatment, agree_grade=grade))
    assert rules(registry) == (["GRADE_AND_TREATMENT"] if asked else [])


def test_the_labels_of_another_grading_are_never_judged_by_this_rule(tmp_path):
    tables = spoilt("adverse_events", 0, treatment="surgical", agree_grade="", clavien_grade="IIIa")
    assert registry_of(tmp_path, tables).findings.empty


@pytest.mark.parametrize(
    "cells",
    [{"agree_grade": "V"}, {"asge_severity": "fatal"}, {"clavien_grade": "V"}],
    ids=lambda cells: next(iter(cells)),
)
def test_a_fatal_event_in_a_living_patient_is_asked_about(tmp_path, cells):
    registry = registry_of(tmp_path, spoilt("adverse_events", 0, **cells))
    assert finding(registry, "FATAL_BUT_ALIVE").column == next(iter(cells))


def test_a_death_from_the_procedure_without_a_fatal_event_is_asked_about(tmp_path):
    tables = spoilt("patients", 1, death_cause="procedure")
    assert rules(registry_of(tmp_path / "a", tables)) == ["DEATH_WITHOUT_EVENT"]
    tables["adverse_events"].append(
        with_row("adverse_events", event_id="E02", patient_id="P02", day="79", event_type="sepsis", agree_grade="V")[
            "adverse_events"
        ][-1]
    )
    assert registry_of(tmp_path / "b", tables).findings.empty


def test_without_a_table_of_events_a_death_is_not_held_against_it(tmp_path):
    tables = spoilt("patients", 1, death_cause="procedure")
    del tables["adverse_events"]
    assert rules(registry_of(tmp_path, tables)) == ["TABLE_MISSING"]


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
        tables["sessions"].append({**session, "session_id": f"S0{number}", "patient_id": "P03", "collection_id": "C03"})
    registry = registry_of(tmp_path / "a", tables)
    assert rules(registry) == ["SAME_PATIENT_TWICE"] * 2
    tables["sessions"][-1]["day"] = "8"
    assert registry_of(tmp_path / "b", tables).findings.empty
