"""Who each row is about, and rows that are nobody's."""

from __future__ import annotations

from datetime import date

import pytest
import xlsxwriter

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout

SCANS = """
[[sheet]]
name = "Scans"
patient = "Study no"
carry_down = ["Study no"]
[[sheet.rows]]
table = "scans"
columns = { "Day" = { to = "day", days = true }, "Size" = { to = "size", unit = "mm" } }
"""


def scans(found):
    return found.registry.scans[["patient_id", "long_mm"]].astype(object).to_numpy().tolist()


def with_scans(tmp_path, lines, layout=WIDE + SCANS, keys=("b7", "A 1")):
    wide = [HEADINGS, *(wide_line(key) for key in keys)]
    return read(tmp_path, {"DEN": wide, "Scans": [["Study no", "Day", "Size"], *lines]}, layout)


def test_study_codes_follow_the_order_of_first_appearance_and_hold_nothing_of_the_key(tmp_path):
    found = read_wide(tmp_path, wide_line("zz9"), wide_line("aa1"), wide_line("mm5"))
    assert found.registry.patients["patient_id"].tolist() == ["P0001", "P0002", "P0003"]


def test_case_and_blanks_of_a_key_never_matter(tmp_path):
    found = with_scans(tmp_path, [[" B7 ", 10, 5], ["a  1", 10, 6]])
    assert scans(found) == [["P0001", 5.0], ["P0002", 6.0]]


def test_lost_zeros_count_only_where_the_layout_gives_the_form(tmp_path):
    lines = [["7", 10, 5]]
    assert scans(with_scans(tmp_path, lines, keys=("P007",))) == []
    formed = WIDE.replace("[fill]", '[ids]\nform = "P000"\n[fill]') + SCANS
    assert scans(with_scans(tmp_path, lines, layout=formed, keys=("P007",))) == [["P0001", 5.0]]


def test_keys_that_are_study_codes_already_may_be_kept(tmp_path):
    kept = WIDE.replace("[fill]", '[ids]\npatients = "keep"\n[fill]')
    found = read_wide(tmp_path, wide_line("st-7"), layout=kept)
    assert found.registry.patients["patient_id"].tolist() == ["ST-7"]


def test_a_blank_key_takes_the_one_above_where_the_layout_says_so(tmp_path):
    found = with_scans(tmp_path, [["b7", 10, 5], ["", 20, 6], ["a 1", 10, 7]])
    assert scans(found) == [["P0001", 5.0], ["P0001", 6.0], ["P0002", 7.0]]


def test_a_merged_key_counts_for_every_row_it_spans(tmp_path):
    path = tmp_path / "unit.xlsx"
    layout = WIDE + SCANS.replace('carry_down = ["Study no"]\n', "")
    with xlsxwriter.Workbook(path) as book:
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        wide, sheet = book.add_worksheet("DEN"), book.add_worksheet("Scans")
        for column, name in enumerate(HEADINGS):
            wide.write(0, column, name)
        wide.write(1, 0, "1")
        wide.write_datetime(1, 2, INDEX, shown)
        for column, name in enumerate(["Study no", "Day", "Size"]):
            sheet.write(0, column, name)
        sheet.merge_range(1, 0, 2, 0, "1")
        for row, size in enumerate((5, 6, 7), start=1):
            sheet.write(row, 1, row)
            sheet.write(row, 2, size)
    found = read_with_layout(path, parse_layout(layout))
    assert scans(found) == [["P0001", 5.0], ["P0001", 6.0]]
    assert [row for _, row, _, _ in told(found, "NO_PATIENT")] == [4]


def test_rows_of_nobody_are_set_aside_and_said(tmp_path):
    found = read_wide(tmp_path, wide_line("1"), wide_line("-"), wide_line("#N/A"), wide_line(""))
    assert [row for _, row, _, _ in told(found, "NO_PATIENT")] == [3, 4, 5]
    assert found.registry.set_aside["rule"].tolist() == ["NO_PATIENT"] * 3


def test_a_key_may_stand_in_several_columns(tmp_path):
    layout = WIDE.replace('patient = "Study no"', 'patient = ["Study no", "Centre"]')
    lines = [[*wide_line("1"), "A"], [*wide_line("1"), "B"], [*wide_line("1"), ""]]
    found = read_wide(tmp_path, *lines, layout=layout, headings=[*HEADINGS, "Centre"])
    assert found.registry.patients["patient_id"].tolist() == ["P0001", "P0002"]


@pytest.mark.parametrize("count", [1, 3])
def test_without_a_key_each_row_is_a_patient(tmp_path, count):
    layout = (
        TOP
        + """
[[sheet]]
each_row_is_a_patient = true
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Index" = "index_date" }
"""
    )
    found = read(tmp_path, {"DEN": [["Age", "Index"], *[[50, INDEX]] * count]}, layout)
    assert len(found.registry.patients) == count


CSV = WIDE.replace('name = "DEN"\n', "").partition('[[sheet.rows]]\ntable = "sessions"')[0]


def read_csv(tmp_path, text):
    path = tmp_path / "unit.csv"
    path.write_text("Study no,Age,Index\n" + text)
    return read_with_layout(path, parse_layout(CSV))


def test_rows_that_the_layout_calls_no_record_are_set_aside_with_a_note(tmp_path):
    layout = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nskip_rows = [3]')
    found = read_wide(tmp_path, wide_line("1"), wide_line("total"), wide_line("2"), layout=layout)
    assert len(found.registry.patients) == 2
    assert [row for _, row, _, _ in told(found, "SKIPPED")] == [3]
    assert counts_of(found.material).rows_set_aside == 1


def test_a_csv_row_with_more_cells_than_headings_is_set_aside_whole(tmp_path):
    found = read_csv(tmp_path, "1,50,01/03/24\n2,50,01/03/24,,,x\n3,50,01/03/24\n")
    assert len(found.registry.patients) == 2
    assert [row for _, row, _, _ in told(found, "LONG_ROW")] == [3]
    assert counts_of(found.material).complete


@pytest.mark.parametrize(("tail", "aside"), [("\n", []), (",\n", [2, 3]), (",,,\n", [2, 3])])
def test_a_line_with_a_cell_too_many_blank_or_not_is_set_aside(tmp_path, tail, aside):
    lines = f"1,50,01/03/24{tail}2,50,01/03/24{tail}3,50,01/03/24\n"
    found = read_csv(tmp_path, lines)
    assert [row for _, row, _, _ in told(found, "LONG_ROW")] == aside
    assert len(found.registry.patients) == 3 - len(aside)


def test_a_line_with_a_cell_too_few_is_set_aside_and_never_shifted(tmp_path):
    found = read_csv(tmp_path, "1,50,01/03/24\n2,01/03/24\n")
    assert [row for _, row, _, _ in told(found, "LONG_ROW")] == [3]
    assert counts_of(found.material).complete


def test_a_stray_quotation_mark_that_ate_rows_is_seen(tmp_path):
    found = read_csv(tmp_path, '1,50,01/03/24\n2,"50,01/03/24\n3,50,01/03/24\n4,50",01/03/24\n5,50,01/03/24\n')
    assert [row for _, row, _, _ in told(found, "STRAY_QUOTE")] == [3]
    assert len(found.registry.patients) == 2


def test_a_copy_is_a_copy_only_if_every_cell_is_the_same(tmp_path):
    found = read_wide(tmp_path, [*wide_line("1"), "a"], [*wide_line("1"), "b"], headings=[*HEADINGS, "Note"])
    assert told(found, "DUPLICATE_ROW") == []
    assert len(found.registry.patients) == 1


TWO_SHEETS = (
    TOP
    + """
[[sheet]]
name = "P"
patient = "Nr"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Index" = "index_date" }
[[sheet]]
name = "S"
patient = "Nr"
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
columns = { "Date" = "day", "Tool" = "instruments" }
"""
)
PATIENTS = [("Nr", "Age", "Index"), ("e008", 50, INDEX), ("E009", 60, INDEX), (7, 61, INDEX)]
LATER = date(2024, 3, 9)


def _of_sessions(tmp_path, *keys, habits=""):
    lines = [("Nr", "Date", "Tool"), *((key, LATER, "snare") for key in keys)]
    layout = TWO_SHEETS + (f"[ids]\nignore = {habits}\n" if habits else "")
    return read(tmp_path, {"P": PATIENTS, "S": lines}, layout)


def test_rows_about_a_patient_nobody_lists_stop_with_their_count_and_a_near_code(tmp_path):
    found = _of_sessions(tmp_path, "E-008", "E-008", "X1", "E009")
    assert told(found, "NO_SUCH_PATIENT") == [("S", 2, "Nr", ""), ("S", 3, "Nr", ""), ("S", 4, "Nr", "")]
    orphans = found.registry.findings[found.registry.findings["rule"] == "NO_SUCH_PATIENT"]
    assert set(orphans["severity"]) == {"stops"}
    assert "rows so: 2, patients: 1); one is there whose code differs in signs" in orphans["problem"].iloc[0]
    assert 'ignore = ["hyphens"' in orphans["remedy"].iloc[0] and "Add the patient" in orphans["remedy"].iloc[2]
    assert len(found.registry.sessions[found.registry.sessions["session_type"] == "necrosectomy"]) == 1


@pytest.mark.parametrize(
    ("key", "habits"),
    [
        ("E-008", '["hyphens"]'),
        ("E 008", '["blanks"]'),
        ("e8", '["zeros"]'),
        ("E-8", '["hyphens", "zeros"]'),
        ("7.0", '["decimals"]'),
        ("007", '["zeros"]'),
    ],
)
def test_the_layout_says_what_does_not_matter_in_an_id(tmp_path, key, habits):
    assert told(_of_sessions(tmp_path, key), "NO_SUCH_PATIENT") == [("S", 2, "Nr", "")]
    found = _of_sessions(tmp_path, key, habits=habits)
    assert told(found, "NO_SUCH_PATIENT") == []
    assert len(found.registry.sessions[found.registry.sessions["session_type"] == "necrosectomy"]) == 1


def test_another_word_for_what_does_not_matter_is_answered_with_the_list():
    with pytest.raises(RegistryError, match='"decimals", "blanks", "hyphens", "zeros"'):
        parse_layout(TWO_SHEETS + '[ids]\nignore = ["dashes"]\n')


def test_an_index_date_with_the_patient_comes_before_the_sessions_of_another_sheet(tmp_path):
    assert told(_of_sessions(tmp_path, "e008", "E009"), "OUT_OF_ORDER") == []


LONG = (
    TOP
    + """
[[sheet]]
name = "Patients"
patient = "No"
[[sheet.rows]]
table = "patients"
columns = { "Index" = "index_date" }
[[sheet]]
name = "Sessions"
patient = "No"
[[sheet.rows]]
table = "sessions"
constants = { session_type = "necrosectomy" }
columns = { "ID" = "session", "Day" = { to = "day", days = true }, "Yield" = { to = "yield", unit = "ml" } }
[[sheet]]
name = "Tools"
session = "Session"
[[sheet.rows]]
table = "instrument_uses"
columns = { "Session" = "session", "Tool" = "instrument_class" }
"""
)
SESSIONS = (("1", "a", 3, 100), ("1", "b", 9, 50), ("2", "c", 5, 80))


def long(tmp_path, sessions=SESSIONS, tools=()):
    sheets = {
        "Patients": [["No", "Index"], ["1", INDEX], ["2", INDEX]],
        "Sessions": [["No", "ID", "Day", "Yield"], *sessions],
        "Tools": [["Session", "Tool"], *tools],
    }
    return read(tmp_path, sheets, LONG)


def test_a_row_that_names_a_session_only_is_about_its_patient(tmp_path):
    found = long(tmp_path, tools=[("A", "snare"), ("c ", "net")])
    assert counts_of(found.material).complete
    uses = found.registry.instrument_uses.merge(found.registry.sessions, on="session_id")
    assert uses[["patient_id", "day", "instrument_class"]].astype(str).to_numpy().tolist() == [
        ["P0001", "3", "snare"],
        ["P0002", "5", "net"],
    ]


def test_a_session_that_nobody_has_or_two_patients_have_sets_the_row_aside(tmp_path):
    found = long(tmp_path, sessions=[*SESSIONS, ("2", "a", 12, 10)], tools=[("z", "snare"), ("a", "net"), ("b", "net")])
    assert [row for _, row, _, _ in told(found, "NO_PATIENT")] == [2, 3]
    assert len(found.registry.instrument_uses) == 1


def test_of_a_session_written_twice_the_first_counts_and_of_two_with_one_id_neither(tmp_path):
    found = long(tmp_path, sessions=[*SESSIONS, ("1", "a", 3, 100), ("1", "b", 9, 60)])
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ROW")] == [5]
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ID")] == [3, 6]
    assert found.registry.sessions.query("day > 0")[["patient_id", "day"]].astype(str).to_numpy().tolist() == [
        ["P0001", "3"],
        ["P0002", "5"],
    ]


@pytest.mark.parametrize("form", ["WON-000", "WON000"])
def test_with_a_form_and_its_signs_forgiven_every_way_to_write_a_code_is_one_patient(tmp_path, form):
    written = ["7", "7.0", "007", "won7", "WON 007", "Won-7", "WON-007"]
    ids = f'[ids]\npatients = "keep"\nform = "{form}"\nignore = ["hyphens", "blanks", "zeros", "decimals"]\n[fill]'
    sheets = {
        "DEN": [HEADINGS, wide_line("WON-007")],
        "Scans": [["Study no", "Day", "Size"], *([each, 10 + at, "3 cm"] for at, each in enumerate(written))],
    }
    found = read(tmp_path, sheets, WIDE.replace("[fill]", ids) + SCANS)
    assert found.registry.patients["patient_id"].tolist() == [form.replace("000", "007")]
    assert len(found.registry.scans) == len(written)


def test_without_its_signs_forgiven_a_form_takes_bare_numbers_only(tmp_path):
    sheets = {
        "DEN": [HEADINGS, wide_line("WON-007")],
        "Scans": [["Study no", "Day", "Size"], ["7", 10, "3 cm"], ["won7", 11, "3 cm"]],
    }
    found = read(tmp_path, sheets, WIDE.replace("[fill]", '[ids]\nform = "WON-000"\n[fill]') + SCANS)
    assert len(found.registry.scans) == 1
