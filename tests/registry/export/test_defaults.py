from datetime import date

import pytest

from builders.exports import HEADINGS, WIDE, read_wide, told, wide_line

MORE = '"Index" = "index_date", "Status" = "vital_status", "Died" = "death_day", "Seen" = "last_contact_day"'
LAYOUT = WIDE.replace('"Index" = "index_date"', MORE)


def patient(tmp_path, status="", died="", seen="", layout=LAYOUT):
    line = [*wide_line(DEN1_date=date(2024, 3, 20)), status, died, seen]
    found = read_wide(
        tmp_path, line, [*wide_line("2"), "", "", ""], layout=layout, headings=[*HEADINGS, "Status", "Died", "Seen"]
    )
    rows = found.registry.patients
    return rows[rows["patient_id"] == "P0001"].iloc[0] if "P0001" in set(rows["patient_id"]) else None


def test_an_empty_cell_takes_what_the_layout_says(tmp_path):
    row = patient(tmp_path)
    assert (row["vital_status"], row["last_contact_day"]) == ("alive", 19)


@pytest.mark.parametrize("status", ["-", "?", "unknown", "perhaps"])
def test_a_cell_with_something_in_it_is_never_filled(tmp_path, status):
    assert patient(tmp_path, status=status) is None


def test_a_patient_with_a_day_of_death_is_dead_and_was_last_seen_on_it(tmp_path):
    row = patient(tmp_path, died=date(2024, 4, 1))
    assert (row["vital_status"], row["death_day"], row["last_contact_day"]) == ("dead", 31, 31)


def test_a_day_of_death_that_cannot_be_read_leaves_the_status_unknown(tmp_path):
    assert patient(tmp_path, died="in spring") is None


def test_a_status_that_contradicts_the_day_of_death_is_left_to_the_checker(tmp_path):
    assert patient(tmp_path, status="alive", died=date(2024, 4, 1)) is None


def test_the_data_lock_may_stand_for_the_last_contact(tmp_path):
    layout = LAYOUT.replace('"last_record"', '"data_lock"')
    row = patient(tmp_path, layout=layout)
    assert row["last_contact_day"] == row["observed_days"] == 943


@pytest.mark.parametrize("seen", [False, True])
def test_a_last_contact_filled_from_the_last_record_is_never_before_one_but_a_written_one_can_be(tmp_path, seen):
    line = [*wide_line(DEN1_date=date(2024, 3, 20)), "", "", date(2024, 3, 10) if seen else ""]
    found = read_wide(tmp_path, line, layout=LAYOUT, headings=[*HEADINGS, "Status", "Died", "Seen"])
    assert told(found, "AFTER_LAST_CONTACT") == ([("DEN", 2, "DEN1 date", "value withheld")] if seen else [])
