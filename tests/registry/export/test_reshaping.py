"""Exports read and written a stretch of patients at a time: the same files as at once."""

from __future__ import annotations

import csv
from datetime import date

import numpy as np
import pytest

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read, read_wide, told, wide_line, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import prepared
from necrostats.registry.export.reshaping import everything, stretches_of
from necrostats.registry.export.tidying import tidy

LONG = (
    TOP
    + """
[[sheet]]
patient = "Study"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Sex" = "sex", "Cause" = "aetiology" }
[[sheet.rows]]
table = "sessions"
index = "first_drainage"
[sheet.rows.columns]
"Date" = "day"
"Type" = "session_type"
"Tools" = "instruments"
"Yield" = { to = "yield", unit = "ml" }
"Compl" = "event"
"Who" = { to = "operator", pseudonyms = true }
"""
)
HEAD = ("Study", "Age", "Sex", "Cause", "Date", "Type", "Tools", "Yield", "Compl", "Who")


def courses(patients: int) -> list[tuple[str, ...]]:
    """Invented sessions: two patients entered twice far apart, two units of yield, rows of nobody, a month as date."""
    rng = np.random.default_rng(7)
    lines = []
    for patient in range(patients):
        who = (f"S{patient + 1}", str(30 + patient % 40), "MF"[patient % 2], "gallstone")
        for number in range(1 + patient % 4):
            day = date(2024, 1 + patient % 12, 1 + 7 * number)
            written = day.strftime("%m/%Y") if patient == patients - 3 and number else day.strftime("%d/%m/%Y")
            amount = f"{rng.integers(10, 900)} {'g' if patient == 3 else 'ml'}" if number else ""
            lines.append(
                (
                    *who,
                    written,
                    "DEN" if number else "drainage",
                    "snare + net" if number else "",
                    amount,
                    "bled" if patient % 5 == 0 and number else "nil",
                    f"op {patient % 3}",
                )
            )
        if patient % 11 == 0:
            lines.append(("", "", "", "", "", "", "", "", "nil", ""))
    return lines


def written(tmp_path, lines, rows_at_once, to):
    path = tmp_path / "unit.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEAD, *lines])
    said = []
    made = tidy(path, parse_layout(LONG), tmp_path / to, say=said.append, rows_at_once=rows_at_once)
    return made, {each.name: each.read_bytes() for each in made.files}, said


@pytest.mark.parametrize("rows_at_once", [1, 20, 77])
@pytest.mark.slow
def test_parts_make_the_same_files_as_the_whole(tmp_path, rows_at_once):
    lines = courses(90)
    whole, files, said = written(tmp_path, lines, 10_000, "whole")
    made, parts, told = written(tmp_path, lines, rows_at_once, "parts")
    assert "checking" in said
    steps = [(each.done, each.of) for each in told if each == "checking and writing"]
    assert steps[0] == (0, steps[0][1]) and steps[-1] == (steps[0][1], steps[0][1]) and len(steps) > 2
    assert [*files] == [*parts]
    for name in set(files) - {"findings.csv", "set_aside.csv"}:
        assert parts[name] == files[name], name
    for name in ("findings.csv", "set_aside.csv"):
        assert sorted(parts[name].split(b"\n")) == sorted(files[name].split(b"\n")), name
    rules = set(made.findings["rule"])
    assert {"SAME_PATIENT_TWICE", "MIXED_UNITS", "NO_PATIENT"} <= rules
    assert made.counts == whole.counts and made.counts.complete
    assert made.source == whole.source


def test_a_day_known_as_a_range_in_a_later_part_only_gets_its_column(tmp_path):
    made, files, _ = written(tmp_path, courses(90), 20, "parts")
    heading, *lines = files["sessions.csv"].decode().splitlines()
    assert "day_latest" in heading.split(",")
    assert {line.count(",") for line in lines} == {heading.count(",")}
    assert made.counts.complete


def test_patients_whose_rows_are_scattered_are_read_all_at_once(tmp_path):
    lines = courses(30)
    _, _, said = written(tmp_path, [*lines, (*lines[0][:4], "29/12/2024", *lines[1][5:])], 5, "scattered")
    assert "checking" in said


def test_no_patient_is_cut_and_every_row_is_in_one_stretch(tmp_path):
    path = tmp_path / "unit.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEAD, *courses(40)])
    material = prepared(path, parse_layout(LONG)).material
    sheets, (person,) = material.laid.sheets, material.people.of
    for about in (1, 3, 10, 1_000):
        parts = stretches_of(sheets, material.people, about)
        rows = [row for part in parts for row in range(*part.rows_of(0))]
        assert rows == list(range(len(sheets[0])))
        owners = [set(person[slice(*part.rows_of(0))].tolist()) - {-1} for part in parts]
        assert sum(map(len, owners)) == len(set().union(*owners)) == 40
    assert stretches_of(sheets, material.people, 1_000)[0].end.tolist() == everything(sheets).end.tolist()


def test_private_periods_are_numbered_over_all_patients_together(tmp_path):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line("1"), wide_line("2"), wide_line("3")]})
    layout = parse_layout(WIDE.replace("[fill]", 'periods = "sequential"\n[fill]'))
    said = []
    tidy(path, layout, tmp_path / "tidy", say=said.append, rows_at_once=1)
    assert "checking" in said


def test_nothing_is_left_behind_where_no_patient_is_kept(tmp_path):
    lines = [("S1", "50", "M", "gallstone", "x", "drainage", "", "", "nil", "op 1")] * 2
    with pytest.raises(RegistryError):
        written(tmp_path, lines, 1, "parts")
    assert not (tmp_path / "parts").exists()


DEATHS = """
[[sheet]]
name = "Deaths"
patient = "Study no"
[[sheet.rows]]
table = "patients"
columns = { "Died" = "death_day", "Cause" = "death_cause", "Years" = "age_years" }
"""


def with_deaths(tmp_path, *lines):
    wide = [HEADINGS, wide_line("1"), wide_line("2")]
    deaths = [["Study no", "Died", "Cause", "Years"], *lines]
    return read(tmp_path, {"DEN": wide, "Deaths": deaths}, WIDE + DEATHS)


def test_a_patient_of_two_sheets_is_one_row(tmp_path):
    found = with_deaths(tmp_path, ["2", date(2024, 4, 1), "procedure", ""])
    row = found.registry.patients.iloc[1]
    assert (row["age_years"], row["death_day"], row["death_cause"]) == (50, 31, "procedure")
    assert (row["vital_status"], row["last_contact_day"]) == ("dead", 31)


def test_two_sheets_that_disagree_set_both_cells_aside(tmp_path):
    found = with_deaths(tmp_path, ["1", "", "", 60])
    assert found.registry.patients["age_years"].isna().tolist() == [True, False]
    assert sorted(told(found, "CONFLICT")) == [("DEN", 2, "Age", "50"), ("Deaths", 2, "Years", "60")]


def test_two_sheets_that_agree_are_no_conflict(tmp_path):
    found = with_deaths(tmp_path, ["1", "", "", 50])
    assert found.registry.patients["age_years"].tolist() == [50, 50]
    assert told(found, "CONFLICT") == []


def test_an_unknown_patient_in_another_sheet_is_set_aside(tmp_path):
    found = with_deaths(tmp_path, ["99", date(2024, 4, 1), "", ""])
    assert len(found.registry.patients) == 2
    assert told(found, "INDEX_UNKNOWN")[0][:2] == ("Deaths", 2)


def test_a_row_word_for_word_again_counts_once(tmp_path):
    line = wide_line("1", DEN1_date=date(2024, 3, 8))
    found = read_wide(tmp_path, line, wide_line("2"), line)
    assert len(found.registry.sessions) == 3
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ROW")] == [4]


def test_two_rows_of_one_key_that_differ_set_the_patient_aside(tmp_path):
    found = read_wide(tmp_path, wide_line("1", 50), wide_line("1", 51), wide_line("2"))
    assert found.registry.patients["patient_id"].tolist() == ["P0002"]
    assert [row for _, row, _, _ in told(found, "DUPLICATE_ID")] == [2, 3]


def test_a_session_on_the_day_of_the_drainage_is_a_second_row_and_asked_about(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date=INDEX, DEN1_tools="snare"))
    assert found.registry.sessions["session_type"].tolist() == ["drainage", "necrosectomy"]
    assert len(told(found, "SAME_AGAIN")) == 2


def test_the_layout_may_join_it_with_the_drainage(tmp_path):
    layout = WIDE.replace('numbers = "1-2"', 'numbers = "1-2"\nsame_day = "merge"')
    found = read_wide(
        tmp_path,
        wide_line("1", DEN1_date=INDEX, DEN1_tools="snare", DEN1_compl="bled", DEN2_date=date(2024, 3, 8)),
        wide_line("2", DEN1_date=date(2024, 3, 2), DEN1_tools="net"),
        layout=layout,
    )
    sessions = found.registry.sessions
    both, cut = "drainage_and_necrosectomy", "necrosectomy"
    assert sessions["session_type"].tolist() == [both, cut, "drainage", cut]
    uses = found.registry.instrument_uses.astype(object)
    assert uses[["session_id", "instrument_class"]].to_numpy().tolist() == [["S00001", "snare"], ["S00004", "net"]]
    assert found.registry.adverse_events["session_id"].astype(object).tolist() == ["S00001"]


@pytest.mark.parametrize("step", [1, -1])
def test_the_order_of_rows_in_another_sheet_changes_nothing(tmp_path, step):
    lines = [["1", date(2024, 4, 1), "other", ""], ["2", date(2024, 5, 1), "", ""]]
    found = with_deaths(tmp_path, *lines[::step])
    assert found.registry.patients["death_day"].tolist() == [31, 61]
