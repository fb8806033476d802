"""The order of the rules: what one sets aside is not judged by the next."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from openpyxl import Workbook

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt, write_folder
from necrostats.errors import RegistryError
from necrostats.registry.checking import ASK, STOP_FIRST, STOP_LAST, STOP_THEN, checked, interpreted
from necrostats.registry.codebook import TABLES
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


def test_the_first_value_of_every_column_is_the_blank(tmp_path):
    draft = interpreted(read_source(write_folder(tmp_path, faultless())))
    for table in draft.tables.values():
        for name, cells in table.cells.items():
            blank = cells.values[0]
            assert blank is None or np.isnan(blank), name


def test_words_for_unknown_are_blank_and_need_no_finding(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, minutes_total="n/a", texture="?", planned="not recorded"))
    assert registry.findings.empty
    assert registry.sessions[["minutes_total", "texture", "planned"]].isna().all(axis=None)


def test_ids_that_differ_in_case_are_one(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, patient_id=" p01 ", collection_id="c01"))
    assert registry.findings.empty
    assert registry.position("sessions").tolist() == [0, 0, 1]


def test_headings_do_not_mind_case_and_blanks(tmp_path):
    folder = write_folder(tmp_path, faultless())
    text = (folder / "patients.csv").read_text().replace("age_years", " Age Years ").replace("sex", "SEX")
    (folder / "patients.csv").write_text(text)
    registry = read_registry(folder)
    assert registry.findings.empty
    assert registry.patients["age_years"].tolist() == [54, 61]


def test_a_bad_last_day_takes_the_day_with_it_so_that_a_range_never_looks_exact(tmp_path):
    registry = registry_of(tmp_path, spoilt("stents", 0, removed_day="10", removed_day_latest="31/02/2026"))
    assert registry.stents[["removed_day", "removed_day_latest"]].isna().all(axis=None)
    assert ("stents", 2, "removed_day") in set_aside(registry, "cell")


def test_a_bad_high_end_takes_the_yield_with_it_so_that_it_never_means_more_than(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, yield_low="200", yield_high="lots"))
    assert registry.sessions[["yield_low", "yield_high"]].isna().all(axis=None)


def test_a_calendar_date_is_nowhere_in_what_is_said(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, day="31/02/2026"))
    found = finding(registry, "CALENDAR_DATE")
    assert found.value == "" and "value withheld" in found.problem and found.scope == "row"
    assert "31/02" not in registry.findings.to_string()


def test_an_age_over_90_is_nowhere_in_what_is_said_or_kept(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 0, age_years="97"))
    assert registry.patients["age_years"].tolist() == [90, 61]
    assert "97" not in registry.findings.to_string()
    assert finding(registry, "AGE_90").severity == "notes"


def test_decimal_commas_are_said_once_a_column(tmp_path):
    tables = spoilt("scans", 0, long_mm="20,5")
    tables["scans"][1]["long_mm"] = "70,5"
    registry = read_registry(write_folder(tmp_path, tables, separator=";"))
    assert registry.scans["long_mm"].tolist() == [20.5, 70.5]
    assert finding(registry, "DECIMAL_COMMA").severity == "notes"


def test_a_comma_that_may_part_thousands_stops(tmp_path):
    registry = registry_of(tmp_path, spoilt("scans", 0, long_mm="1,205"))
    assert finding(registry, "NOT_A_NUMBER").value == "1,205"
    assert registry.scans["long_mm"].isna().tolist() == [True, False]


def test_a_file_in_windows_letters_with_semicolons_and_quoted_lines_is_read_and_said(tmp_path):
    tables = spoilt("other_interventions", 0, reason="fièvre\npersistante; ascite")
    registry = read_registry(write_folder(tmp_path, tables, separator=";", encoding="cp1252"))
    assert registry.other_interventions["reason"].tolist() == ["fièvre\npersistante; ascite"]
    assert finding(registry, "ENCODING").severity == "notes"


@pytest.mark.parametrize("cells", [["yes"] * 20, [""] * 5, ["", "yes"]])
def test_a_row_with_cells_too_many_or_too_few_blank_or_not_is_set_aside(tmp_path, cells):
    folder = write_folder(tmp_path, faultless())
    with (folder / "reviews.csv").open("a") as file:
        file.write(",".join(("P02", "5", *cells)) + "\n")
    registry = read_registry(folder)
    assert finding(registry, "LONG_ROW").row == 3
    assert set_aside(registry) == [("reviews", 3, "LONG_ROW")]


def test_a_stray_quotation_mark_that_swallowed_rows_is_found(tmp_path):
    folder = write_folder(tmp_path, faultless())
    (folder / "other_interventions.csv").write_text(
        'patient_id,day,kind,reason\nP01,3,other,"\nP01,4,ercp,x\nP02,5,ercp,x\nP02,6,ercp,"\nP02,7,other,\n'
    )
    registry = read_registry(folder)
    assert finding(registry, "STRAY_QUOTE").row == 2
    assert len(registry.other_interventions) == 1


def test_a_date_cell_of_a_workbook_is_withheld_and_a_formula_without_result_is_not_blank(tmp_path):
    book = Workbook()
    book.remove(book.active)
    for name, rows in faultless().items():
        sheet = book.create_sheet(name)
        names = list(dict.fromkeys(key for row in rows for key in row))
        sheet.append(names)
        for row in rows:
            sheet.append([row.get(key) for key in names])
    book["sessions"]["D3"].value = date(2026, 3, 1)
    book["scans"]["F2"].value = "=10+10"
    book.save(tmp_path / "unit.xlsx")
    registry = read_registry(tmp_path / "unit.xlsx")
    assert finding(registry, "CALENDAR_DATE").column == "day"
    assert finding(registry, "NO_RESULT").column == "long_mm"
    assert ("scans", 2, "long_mm") in set_aside(registry, "cell")
    assert ("sessions", 3, "CALENDAR_DATE") in set_aside(registry)
