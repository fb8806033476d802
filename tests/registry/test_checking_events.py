"""Grades against treatments and deaths."""

from __future__ import annotations

import pytest

from builders.registry_files import finding, registry_of, rules, spoilt, with_row


@pytest.mark.parametrize(
    ("treatment", "grade", "asked"),
    [
        ("transfusion", "I", True), ("transfusion", "II", False), ("radiological", "II", True),
        ("endoscopic", "IIIa", False), ("surgical", "IIIa", True), ("surgical", "IIIb", False),
        ("surgical", "IVa", False),
        ("organ_support", "IIIb", True), ("organ_support", "IVa", False), ("drug", "I", False), ("", "I", False),
        ("surgical", "", False),
    ],
)  # fmt: skip
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
