"""What a person reads after a check."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, registry_of, spoilt, with_row
from necrostats.errors import RegistryError, SourceError
from necrostats.registry.messages import SHOWN, check_report, stops


def many_bad_scans(count):
    tables = faultless()
    scan = {**tables["scans"][0], "modality": "xray"}
    tables["scans"] = [{**scan, "scan_id": f"N{number}", "day": str(number)} for number in range(count)]
    return tables


def test_a_faultless_registry_can_be_used(tmp_path):
    registry = registry_of(tmp_path, faultless())
    report = check_report(registry, "unit")
    assert report.startswith("unit can be used: nothing to ask about.")
    assert not stops(registry)


def test_the_headline_counts_what_stops(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, minutes_total="long", texture="wet"))
    assert check_report(registry, "unit").startswith(
        "unit can be used in part, with what cannot be right set aside: 2 problems."
    )
    assert stops(registry)


def test_the_headline_counts_what_is_asked(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 0, age_years="17"))
    assert check_report(registry, "unit").startswith("unit can be used: 1 thing to ask about.")
    assert not stops(registry)


def test_a_finding_says_where_what_and_what_to_do(tmp_path):
    report = check_report(registry_of(tmp_path, spoilt("sessions", 1, texture="sofft")), "unit")
    assert '  sessions.csv, row 3, "texture": "sofft" is not on the list; the nearest is "soft".' in report
    assert "    Write one of: liquid, soft, adherent, tough." in report


def test_problems_come_before_questions_and_questions_before_notes(tmp_path):
    tables = spoilt("patients", 0, age_years="17", sex="x")
    tables["stents"][0]["removed_day"] = "60"
    report = check_report(registry_of(tmp_path, tables), "unit")
    assert report.index("Problems") < report.index("To ask about") < report.index("Notes")


def test_what_repeats_is_shortened_counted_and_its_remedy_said_once(tmp_path):
    registry = registry_of(tmp_path, many_bad_scans(42))
    report = check_report(registry, "unit")
    assert report.count('"xray"') == SHOWN
    assert "… and 37 more like it in scans" in report and "--all" in report
    assert report.count("Write one of: ct, mri, eus, us.") == 1


def test_all_of_them_can_be_seen(tmp_path):
    report = check_report(registry_of(tmp_path, many_bad_scans(42)), "unit", every=True)
    assert report.count('"xray"') == 42 and "more like it" not in report


def test_a_single_further_one_is_shown_rather_than_counted(tmp_path):
    report = check_report(registry_of(tmp_path, many_bad_scans(SHOWN + 1)), "unit")
    assert report.count('"xray"') == SHOWN + 1 and "more like it" not in report


def test_rows_read_kept_and_set_aside_are_counted(tmp_path):
    registry = registry_of(tmp_path, with_row("reviews", patient_id="P99", day="3"))
    line = next(line for line in check_report(registry, "unit").splitlines() if line.startswith("  reviews "))
    assert line.split() == ["reviews", "2", "1", "1", "0"]


def test_an_error_with_findings_is_told_as_a_report(tmp_path):
    tables = {name: [] for name in faultless()}
    with pytest.raises(RegistryError) as caught:
        registry_of(tmp_path, tables)
    assert "cannot be used" in check_report(caught.value, "unit")
    assert "cannot be used" in str(caught.value)


def test_an_error_without_findings_is_told_as_it_stands():
    assert check_report(SourceError("scans.csv is empty."), "unit") == "scans.csv is empty."


def test_a_long_or_unprintable_value_stays_on_one_line(tmp_path):
    written = "\x1b[31mred\n" + "x" * 500
    registry = registry_of(tmp_path, spoilt("sessions", 1, minutes_total=written))
    report = check_report(registry, "unit")
    assert "\x1b" not in report and '"·[31mred·xxx' in report and "x" * 81 not in report
    assert registry.findings["value"].tolist() == [written]


def test_no_class_name_and_no_type_reaches_the_reader(tmp_path):
    report = check_report(registry_of(tmp_path, spoilt("sessions", 1, minutes_total="long", texture="wet")), "unit")
    for word in ("dtype", "NaN", "None", "float", "DataFrame", "Error", "<NA>"):
        assert word not in report
