"""Exports read and written a stretch of patients at a time: the same files as at once."""

from __future__ import annotations

import csv
from datetime import date

import numpy as np
import pytest

from builders.exports import HEADINGS, TOP, WIDE, wide_line, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.batches import everything, stretches_of
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import prepared
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
