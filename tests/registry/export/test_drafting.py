from datetime import date

import pytest

from builders.exports import HEADINGS, WIDE, read, read_wide, told, wide_line
from necrostats.errors import RegistryError

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


def test_what_the_checker_finds_is_told_in_the_places_of_the_export(tmp_path):
    layout = WIDE.replace('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = "texture"')
    line = wide_line("2", DEN2_date=date(2024, 3, 8), DEN2_tools="slimy")
    found = read_wide(tmp_path, wide_line(), line, layout=layout)
    assert told(found, "NOT_LISTED") == [("DEN", 3, "DEN2 tools", "slimy")]
    listed = found.registry.set_aside
    assert listed[["table", "file", "sheet", "row", "column"]].to_numpy().tolist() == [
        ["sessions", "unit.xlsx", "DEN", 3, "DEN2 tools"]
    ]


def test_one_cell_that_fills_several_columns_is_said_once(tmp_path):
    layout = WIDE + '[[sheet.rows]]\ntable = "collections"\ncolumns = { "Size" = { to = "size", unit = "cm" } }\n'
    found = read_wide(tmp_path, [*wide_line(), "120 x 100"], layout=layout, headings=[*HEADINGS, "Size"])
    assert told(found, "UNLIKELY") == [("DEN", 2, "Size", "120 x 100")]


def test_a_set_aside_cell_shows_the_cell_and_an_old_age_nothing(tmp_path):
    found = read_wide(tmp_path, wide_line("1", "93 perhaps"), wide_line("2", 95), wide_line("3", DEN1_yield="300-200"))
    assert ("DEN", 4, "DEN1 yield", "300-200") in told(found, "NOT_READ")
    assert not found.registry.findings["value"].str.contains("93|95").any()
    assert found.registry.patients["age_years"].dropna().tolist() == [90, 50]


def test_findings_about_the_whole_name_the_export(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_yield="5 g", DEN2_date=date(2024, 3, 9), DEN2_yield="5 ml")
    found = read_wide(tmp_path, line)
    mixed = found.registry.findings.set_index("rule").loc["MIXED_UNITS"]
    assert mixed["file"] == "unit.xlsx"


def test_what_the_layout_leaves_out_is_told_in_its_terms(tmp_path):
    layout = WIDE.replace('"patients.vital_status" = "alive"\n', "")
    with pytest.raises(RegistryError) as caught:
        read_wide(tmp_path, wide_line(), layout=layout)
    found = caught.value.findings
    stops = found[found["severity"] == "stops"]
    assert stops["problem"].tolist() == ['there is no column "vital_status", which is required']
    assert "in the layout" in stops["remedy"].iloc[0]


def test_hidden_things_are_named(tmp_path):
    found = read(tmp_path, {"DEN": [HEADINGS, wide_line()], "Old": [["x"], [1]]}, WIDE)
    assert told(found, "SHEET_NOT_MENTIONED")[0][0] == "Old"
    ignored = read(tmp_path, {"DEN": [HEADINGS, wide_line()], "Old": [["x"], [1]]}, 'ignore_sheets = ["old"]\n' + WIDE)
    assert told(ignored, "SHEET_NOT_MENTIONED") == []


def test_a_code_that_the_reading_gave_itself_is_named_as_no_column(tmp_path):
    lines = wide_line("1", index="early April", DEN1_date="15/03/24"), wide_line("2", DEN1_date=date(2024, 3, 8))
    no_date = wide_line("3", index="", DEN1_date="15/03/24", DEN1_tools="net")
    found = read_wide(tmp_path, *lines, no_date)
    assert [(row, column) for _, row, column, _ in told(found, "INDEX_UNKNOWN")] == [(2, "Index"), (4, "Index")]
    assert {column for *_, column, _ in told(found, "PARENT_SET_ASIDE")} == {""}
    assert [(row, column) for _, row, column, _ in told(found, "NO_INSTRUMENT")] == [(3, "")]
    named = set(found.registry.findings["column"]) | set(found.registry.set_aside["column"])
    assert named <= {"", *HEADINGS, "last_contact_day"}
