"""The order of the rules: what one sets aside is not judged by the next."""

from __future__ import annotations

from builders.registry_files import faultless, registry_of, rules, set_aside, spoilt, write_folder
from necrostats.registry.checking import ASK, STOP_FIRST, STOP_LAST, STOP_THEN, checked
from necrostats.registry.interpreting import interpreted
from necrostats.registry.reading import read_source


def test_checking_leaves_the_draft_it_was_given_alone(tmp_path):
    draft = interpreted(read_source(write_folder(tmp_path, spoilt("patients", 0, last_contact_day="999"))))
    checked(draft)
    assert draft["patients"].kept.all() and not draft.findings


def test_rules_that_ask_set_nothing_aside(tmp_path):
    draft = checked(interpreted(read_source(write_folder(tmp_path, faultless()))))
    flags = [flag for rule in ASK for flag in rule(draft)]
    assert flags and all(flag.takes == "" for flag in flags)


def test_rules_that_stop_say_what_they_take(tmp_path):
    draft = checked(interpreted(read_source(write_folder(tmp_path, faultless()))))
    flags = [flag for rules_ in (STOP_FIRST, STOP_THEN, STOP_LAST) for rule in rules_ for flag in rule(draft)]
    assert flags and all(bool(flag.takes) == (flag.severity == "stops") for flag in flags)


def test_an_index_collection_set_aside_leaves_no_patient_without_sessions(tmp_path):
    """Otherwise a patient whose sessions went with the collection would look untreated."""
    registry = registry_of(tmp_path, spoilt("collections", 0, is_index="maybe"))
    assert registry.patients["patient_id"].tolist() == ["P02"]
    assert "NO_INDEX" in rules(registry)
    assert ("patients", 2, "NO_INDEX") in set_aside(registry)


def test_several_problems_in_one_row_are_all_told(tmp_path):
    registry = registry_of(tmp_path, spoilt("scans", 0, day="soon", modality="xray", long_mm="20-30"))
    assert sorted(rules(registry)) == ["NOT_A_NUMBER", "NOT_LISTED", "RANGE"]


def test_a_use_of_a_session_set_aside_raises_no_question_about_primaries(tmp_path):
    tables = spoilt("instrument_uses", 1, instrument_class="net", is_primary="yes")
    tables["sessions"][1]["day"] = ""
    assert "TWO_PRIMARIES" not in rules(registry_of(tmp_path, tables))
