"""A proposed layout says what something speaks for, and leaves open what a column beside it may say otherwise."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import workbook
from necrostats.registry.export.layout_drafting import draft_layout

PATIENTS = [
    ["Réf", "Age", "Sex", "Index drainage", "Date of death"],
    *([f"F-{number:02d}", 40 + number, "FM"[number % 2], date(2024, 3, number), ""] for number in range(1, 9)),
]
PATIENTS[3][-1] = date(2024, 5, 1)


def with_column(lines, heading, cells):
    return [[*lines[0], heading], *([*line, cell] for line, cell in zip(lines[1:], cells, strict=True))]


def drafted(tmp_path, **sheets):
    return draft_layout(workbook(tmp_path / "unit.xlsx", {"Patients": PATIENTS, **sheets})).splitlines()


def line_of(lines, text):
    return next((line for line in lines if text in line), "")


def dated(number, *cells):
    return [f"F-{number:02d}", date(2024, 4, number), *cells]


def test_a_column_headed_reference_holds_study_codes_where_it_looks_so(tmp_path):
    assert line_of(drafted(tmp_path), 'patient = "Réf"')


def test_nobody_is_proposed_to_be_alive_beside_a_column_that_may_say_who_is(tmp_path):
    assert line_of(drafted(tmp_path), "vital_status").startswith('"patients.vital_status" = "alive"  # a guess')
    told = drafted(tmp_path, Patients=with_column(PATIENTS, "Fate", "VVDVVVVV"))
    assert line_of(told, "vital_status").startswith("# ")
    assert '"Fate" may say it' in line_of(told, "vital_status")


def test_the_columns_that_are_headed_most_like_it_are_named_first(tmp_path):
    told = with_column(with_column(PATIENTS, "Wing", "ABABABAB"), "Statut", "VVDVVVVV")
    line = line_of(drafted(tmp_path, Patients=told), "vital_status")
    assert '"Statut", "Wing" may say it' in line


@pytest.mark.parametrize(("name", "proposed"), [("DEN", True), ("Nekrosektomien", True), ("Sessions", False)])
def test_sessions_are_proposed_to_be_necrosectomies_only_where_something_says_so(tmp_path, name, proposed):
    rows = [["Réf", "Date", "Minutes", "Yield ml"], *(dated(n, 30 + n, 100 + n) for n in range(1, 9))]
    line = line_of(drafted(tmp_path, **{name: rows}), 'session_type = "necrosectomy"')
    assert line.startswith("constants") if proposed else line.startswith("# constants")
    assert ("a guess" in line) if proposed else ("nothing says what each of them was" in line)


def test_nor_beside_a_column_of_kinds_that_is_not_understood(tmp_path):
    rows = [["Réf", "Date", "Minutes", "Was"], *(dated(n, 30 + n, "12"[n % 2]) for n in range(1, 9))]
    line = line_of(drafted(tmp_path, DEN=rows), 'session_type = "necrosectomy"')
    assert line.startswith("# constants") and '"Was" may say it' in line


def test_stents_are_proposed_to_be_of_one_kind_only_where_no_column_may_say_the_kind(tmp_path):
    rows = [["Réf", "Placed", "Diameter mm"], *(dated(n, 10 + 5 * (n % 2)) for n in range(1, 9))]
    assert line_of(drafted(tmp_path, Stents=rows), "stent_type").startswith("constants")
    typed = with_column(rows, "STENTTYP", "12121212")
    line = line_of(drafted(tmp_path, Stents=typed), "lumen_apposing")
    assert line.startswith("# constants") and '"STENTTYP" may say it' in line


def test_numbered_dates_of_scans_are_scans_and_of_nothing_known_are_left_open(tmp_path):
    days = [date(2024, 6, number) for number in range(1, 9)]
    scans = with_column(with_column(PATIENTS, "TC1 date", days), "TC2 date", days)
    text = "\n".join(drafted(tmp_path, Patients=scans))
    assert text.index('table = "scans"') < text.index('"TC{n} date" = "day"')
    assert 'table = "sessions"' not in text
    strange = with_column(with_column(PATIENTS, "Q1 date", days), "Q2 date", days)
    assert "Q{n}" not in "\n".join(drafted(tmp_path, Patients=strange))


def test_a_sheet_about_patients_is_never_proposed_to_be_ignored(tmp_path):
    rows = [["Réf", "Zzz", "Yyy"], *([f"F-{n:02d}", n % 3, n % 2] for n in range(1, 9))]
    lines = drafted(tmp_path, Strange=rows, Codes=[["Field", "Meaning"], ["Sex", "1 is female"]])
    assert '"Strange"' not in line_of(lines, "ignore_sheets =")
    assert '"Strange"' in line_of(lines, "not guessed: what the rows of these sheets are")
    assert '"Codes"' in line_of(lines, "ignore_sheets =")


def test_a_sheet_of_collections_is_one_by_its_name(tmp_path):
    rows = [["Réf", "Site", "% solid"], *([f"F-{n:02d}", "lesser sac", 10 * n] for n in range(1, 9))]
    text = "\n".join(drafted(tmp_path, Collections=rows))
    assert text.index('name = "Collections"') < text.index('table = "collections"')
