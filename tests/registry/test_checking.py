"""The order of the rules: what one sets aside is not judged by the next."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt, write_folder
from necrostats.errors import RegistryError
from necrostats.registry.checking import ASK, STOP_FIRST, STOP_LAST, STOP_THEN, checked
from necrostats.registry.codebook import TABLES
from necrostats.registry.interpreting import interpreted
from necrostats.registry.loading import read_registry
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


OPTIONAL = [name for name, table in TABLES.items() if not table.required]


@pytest.mark.parametrize("table", OPTIONAL)
def test_an_optional_table_that_is_missing_is_asked_about(tmp_path, table):
    tables = faultless()
    del tables[table]
    found = finding(registry_of(tmp_path, tables), "TABLE_MISSING")
    assert found.severity == "asks" and "nothing is known about" in found.problem


def test_a_column_nobody_knows_is_named_with_the_nearest_and_not_read(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 0, age_yeers="12"))
    found = finding(registry, "UNKNOWN_COLUMN")
    assert found.value == "age_yeers" and 'nearest is "age_years"' in found.problem and found.severity == "asks"
    assert "age_yeers" not in registry.patients


def test_a_column_without_a_heading_is_told(tmp_path):
    folder = write_folder(tmp_path, faultless())
    (folder / "reviews.csv").write_text("patient_id,day,\nP01,42,afebrile\n")
    assert "column 3" in finding(read_registry(folder), "UNNAMED_COLUMN").problem


def test_a_file_nobody_knows_is_named_with_the_nearest(tmp_path):
    folder = write_folder(tmp_path, faultless())
    (folder / "patient.csv").write_text("x\n")
    found = finding(read_registry(folder), "NOT_A_TABLE")
    assert found.value == "patient.csv" and 'nearest is "patients"' in found.problem


def test_a_table_without_a_header_is_told_so_once(tmp_path):
    folder = write_folder(tmp_path, faultless())
    (folder / "patients.csv").write_text("P01,54,female\nP02,61,male\n")
    with pytest.raises(RegistryError) as caught:
        read_registry(folder)
    patients = caught.value.findings.query("table == 'patients' and severity == 'stops'")
    assert patients["rule"].tolist() == ["NO_HEADER"]


def test_all_missing_columns_are_told_at_once(tmp_path):
    folder = write_folder(tmp_path, faultless())
    (folder / "patients.csv").write_text("patient_id,age_years\nP01,54\n")
    with pytest.raises(RegistryError) as caught:
        read_registry(folder)
    for column in ("index_period", "observed_days", "last_contact_day", "vital_status"):
        assert f'there is no column "{column}"' in str(caught.value)


def test_an_optional_table_without_a_required_column_goes_whole(tmp_path):
    folder = write_folder(tmp_path, faultless())
    (folder / "reviews.csv").write_text("patient_id,symptom_free\nP01,yes\n")
    registry = read_registry(folder)
    assert set_aside(registry) == [("reviews", 2, "COLUMN_MISSING")]
    assert registry.reviews.empty
