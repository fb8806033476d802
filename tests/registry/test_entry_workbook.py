"""The workbook a clerk types into: its sheets, its hints, and what is read of it."""

from __future__ import annotations

import io
import zipfile
from datetime import date

import openpyxl
import pytest

from builders.written import text_in
from necrostats.errors import SourceError
from necrostats.registry.entry_workbook import (
    INDEX_DATES,
    INSTRUCTIONS,
    LOCK,
    ROWS,
    entry_layout,
    entry_workbook,
    hint,
    is_entry_workbook,
    typed_columns,
    typed_tables,
    validation,
)
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.tidying import tidy
from necrostats.registry.loading import read_registry

COLUMNS = [
    pytest.param(table, *each, id=f"{table.name}.{each[0]}")
    for table in typed_tables()
    for each in typed_columns(table)
]
FILLED = {
    INDEX_DATES: [("P01", date(2026, 3, 2)), ("P02", date(2026, 4, 1))],
    "patients": [
        {
            "patient_id": "P01",
            "age_years": 61,
            "sex": "female",
            "last_contact_day": date(2026, 8, 1),
            "vital_status": "alive",
        },
        {
            "patient_id": "P02",
            "age_years": 45,
            "vital_status": "dead",
            "death_day": date(2026, 5, 1),
            "last_contact_day": date(2026, 5, 1),
        },
    ],
    "collections": [{"patient_id": "P01", "site": "lesser_sac", "size": "120 x 100 x 80"}],
    "sessions": [
        {"session_id": "S1", "patient_id": "P01", "day": date(2026, 3, 2), "session_type": "drainage"},
        {
            "session_id": "S2",
            "patient_id": "P01",
            "day": date(2026, 3, 9),
            "session_type": "necrosectomy",
            "yield": "~250 cc",
            "instruments": "snare + net, then lavage",
            "events_checked": "yes",
        },
        {"session_id": "S3", "patient_id": "P02", "day": date(2026, 4, 1), "session_type": "drainage"},
    ],
    "stents": [
        {"patient_id": "P01", "stent_type": "lumen_apposing", "placed_day": date(2026, 3, 2), "removed_day": "04.2026"}
    ],
    "scans": [{"patient_id": "P01", "day": date(2026, 4, 10), "modality": "ct", "size": "25 x 20 x 20"}],
    "reviews": [{"patient_id": "P01", "day": date(2026, 4, 12), "symptom_free": "yes"}],
    "adverse_events": [
        {
            "patient_id": "P01",
            "session_id": "S2",
            "day": date(2026, 3, 9),
            "event_type": "bleeding",
            "agree_grade": "II",
        }
    ],
}


@pytest.fixture
def filled(tmp_path):
    book = openpyxl.load_workbook(io.BytesIO(entry_workbook()))
    for name, rows in FILLED.items():
        heads = [cell.value for cell in book[name][1]]
        for row, line in enumerate(rows, start=2):
            cells = line.items() if isinstance(line, dict) else zip(heads, line, strict=True)
            for head, value in cells:
                book[name].cell(row, heads.index(head) + 1, value)
    lock = next(row for row in book[INSTRUCTIONS].iter_rows() if row[0].value == LOCK)
    book[INSTRUCTIONS].cell(lock[0].row, 2, date(2026, 9, 30))
    path = tmp_path / "entry.xlsx"
    book.save(path)
    return path


def test_what_a_clerk_typed_is_read_as_it_is_dates_as_days_and_amounts_as_people_write_them(filled):
    registry = read_registry(filled)
    assert registry.patients["patient_id"].tolist() == ["P01", "P02"]
    assert registry.patients["observed_days"].tolist() == [212, 182]
    assert registry.sessions["day"].tolist() == [0, 7, 0]
    cut = registry.sessions.iloc[1]
    assert (cut["yield_low"], cut["yield_unit"], bool(cut["yield_approximate"]), cut["period"]) == (
        250,
        "ml",
        True,
        "2026Q1",
    )
    assert registry.instrument_uses["instrument_class"].tolist() == ["snare", "net", "lavage"]
    assert registry.stents[["removed_day", "removed_day_latest"]].to_numpy().tolist() == [[30, 59]]
    assert registry.adverse_events["session_id"].tolist() == [cut["session_id"]]
    assert registry.scans["long_mm"].tolist() == [25]
    assert not (registry.findings["severity"] == "stops").any(), registry.findings.to_string()


def test_no_date_leaves_the_workbook(filled, tmp_path):
    for path in tidy(filled, None, tmp_path / "tidy").files:
        assert "2026-" not in text_in(path)


def test_without_the_data_lock_it_is_said_where_it_goes(tmp_path):
    path = tmp_path / "entry.xlsx"
    path.write_bytes(entry_workbook())
    with pytest.raises(SourceError, match="data lock"):
        read_registry(path)


def test_a_workbook_of_another_form_is_none(tmp_path):
    book = openpyxl.Workbook()
    book.save(tmp_path / "other.xlsx")
    assert not is_entry_workbook(tmp_path / "other.xlsx") and not is_entry_workbook(tmp_path)


@pytest.fixture(scope="module")
def workbook():
    return openpyxl.load_workbook(io.BytesIO(entry_workbook()))


def test_instructions_come_first_then_the_index_dates_and_a_sheet_a_table(workbook):
    assert workbook.sheetnames == [INSTRUCTIONS, INDEX_DATES, *(table.name for table in typed_tables())]
    assert "no date is kept" in " ".join(str(row[0]) for row in workbook[INSTRUCTIONS].iter_rows(values_only=True))
    for table in typed_tables():
        rows = [list(row) for row in workbook[table.name].iter_rows(values_only=True)]
        assert rows == [[heading for heading, _, _ in typed_columns(table)]]


def test_every_heading_is_mapped_by_the_layout_that_goes_with_it():
    sheets = {sheet.names[0]: sheet for sheet in parse_layout(entry_layout("2026-09-30")).sheets}
    for table in typed_tables():
        assert set(sheets[table.name].headings()) == {heading for heading, _, _ in typed_columns(table)}


def test_every_code_list_is_a_drop_down_that_refuses_anything_else_in_words(workbook):
    for table in typed_tables():
        rules = {str(rule.sqref): rule for rule in workbook[table.name].data_validations.dataValidation}
        for place, (_, _, column) in enumerate(typed_columns(table), start=1):
            letter = openpyxl.utils.get_column_letter(place)
            rule = rules[f"{letter}2:{letter}{ROWS + 1}"]
            assert "not on the list" in rule.error
            if column is not None and column.codes:
                assert (rule.type, rule.formula1) == ("list", f'"{",".join(column.codes)}"')
                assert rule.errorStyle in (None, "stop")


def test_hints_hold_meaning_unit_and_whether_a_cell_may_be_blank():
    sessions = next(table for table in typed_tables() if table.name == "sessions")
    said = {heading: hint(heading, target, column, sessions) for heading, target, column in typed_columns(sessions)}
    assert said["peroxide_percent"].endswith("Unit: %. Scale: 0 to 6. Blank = unknown.")
    assert said["day"].endswith("Type a date, or a month where the day is not known. Required.")
    assert "1.2 L out (1 L in)" in said["yield"] and "index collection" in said["collection"]


@pytest.mark.parametrize(("table", "heading", "target", "column"), COLUMNS)
def test_nothing_is_cut_off_by_the_limits_of_the_file_format(table, heading, target, column):
    assert len(heading) <= 32
    assert len(hint(heading, target, column, table)) <= 255
    assert column is None or len(",".join(column.codes)) <= 255
    assert validation(heading, target, column, table)["input_message"] == hint(heading, target, column, table)


def test_the_workbook_is_the_same_bytes_every_time_with_no_formula_link_or_comment():
    written = entry_workbook()
    assert written == entry_workbook()
    with zipfile.ZipFile(io.BytesIO(written)) as archive:
        names = " ".join(archive.namelist())
        sheets = b"".join(archive.read(name) for name in archive.namelist() if "worksheets/" in name)
    assert "comments" not in names
    assert b"<f>" not in sheets and b"hyperlink" not in sheets
