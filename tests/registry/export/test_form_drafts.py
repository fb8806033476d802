"""A layout proposed for sheets that are forms, one a patient."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from builders.exports import read, workbook
from necrostats.registry.export.layout_drafting import draft_layout

INDEX = date(2024, 3, 1)


def form(number: int, *, sessions: bool = True) -> list[list[object]]:
    lines = [
        ["NECROSECTOMY FORM", ""],
        ["Study no:", f"F-{number:02d}", "Location", "lesser sac"],
        ["Age:", 50 + number, "Size (mm)", "120 x 100 x 80"],
        ["Sex:", "female" if number % 2 else "male", "% solid", 40],
        ["Aetiology:", "gallstone", "Quadrants", 2],
        ["Index drainage:", INDEX, "", ""],
        ["Status:", "alive", "", ""],
        ["Last contact:", INDEX + timedelta(days=300), "", ""],
        [],
    ]
    table = [
        ["No", "Date", "Procedure", "Instruments", "Yield (ml)", "Complications"],
        *([each, INDEX + timedelta(days=7 * each), "necrosectomy", "snare", "100 ml", "none"] for each in (1, 2)),
    ]
    return [*lines, *(table if sessions else [])]


@pytest.fixture
def sheets() -> dict:
    return {f"F-{number:02d}": form(number) for number in range(1, 6)}


def test_a_form_a_patient_is_drafted_as_a_form_and_its_table_as_a_block_below(tmp_path, sheets):
    text = draft_layout(workbook(tmp_path / "unit.xlsx", sheets))
    assert 'labels = "A"' in text and 'labels = "C"' in text and 'label_rows = "1-8"' in text
    assert 'starts = "No"' in text and 'patient = "{sheet}"' in text
    assert '"Age" = "age_years"' in text and "header_rows" not in text


def test_what_was_drafted_reads_every_patient_and_session_once_the_lock_is_said(tmp_path, sheets):
    text = draft_layout(workbook(tmp_path / "unit.xlsx", sheets))
    layout = text.replace("# data_lock = 2026-09-30", "data_lock = 2026-09-30")
    registry = read(tmp_path, sheets, layout).registry
    assert sorted(registry.patients["age_years"]) == [51, 52, 53, 54, 55]
    assert registry.collections["long_mm"].tolist() == [120] * 5
    assert (registry.sessions["session_type"] == "necrosectomy").sum() == 10


def test_one_sheet_of_labels_and_values_is_no_form_of_several_patients(tmp_path):
    text = draft_layout(workbook(tmp_path / "unit.xlsx", {"F-01": form(1)}))
    assert "labels" not in text


def test_yearly_sheets_of_a_table_are_no_forms(tmp_path):
    table = [["Study no", "Age", "Sex", "Index drainage"], *([f"P{n}", 50, "male", INDEX] for n in range(6))]
    assert "labels" not in draft_layout(workbook(tmp_path / "unit.xlsx", {"2023": table, "2024": table}))
