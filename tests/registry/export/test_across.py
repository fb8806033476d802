"""What is asked of all patients together, gathered a stretch at a time."""

from __future__ import annotations

from datetime import date

import numpy as np

from builders.exports import HEADINGS, WIDE, wide_line, workbook
from necrostats.registry.export.across import AcrossStretches
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import prepared, read_stretch
from necrostats.registry.export.stretches import Stretch

LAYOUT = WIDE.replace("[fill]", '[fill]\n"patients.aetiology" = "alcohol"\n"patients.sex" = "male"')


def found(tmp_path, *lines) -> dict[str, list[int | None]]:
    """Rule → the rows it names, each line of the sheet a stretch of its own."""
    ready = prepared(workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, *lines]}), parse_layout(LAYOUT))
    across = AcrossStretches()
    for row in range(len(lines)):
        across.add(read_stretch(ready, Stretch(first=np.array([row]), end=np.array([row + 1])), whole=False))
    frames = [*across.findings()]
    return {frame["rule"].iloc[0]: [*frame["row"].astype(object)] for frame in frames if len(frame)}


def test_patients_entered_twice_are_found_in_different_stretches(tmp_path):
    day = date(2024, 3, 8)
    same = [wide_line(name, 50, DEN1_date=day, DEN1_tools="snare") for name in ("1", "2")]
    rows = found(tmp_path, same[0], wide_line("3", 51, DEN1_date=day, DEN1_tools="snare"), same[1])
    assert rows == {"SAME_PATIENT_TWICE": [2, 4]}


def test_units_of_different_stretches_are_asked_about_once(tmp_path):
    day = date(2024, 3, 8)
    amounts = [wide_line(str(age), age, DEN1_date=day, DEN1_yield=text) for age, text in ((50, "9 ml"), (60, "9 g"))]
    rows = found(tmp_path, *amounts)
    assert list(rows) == ["MIXED_UNITS"] and len(rows["MIXED_UNITS"]) == 1


def test_patients_who_differ_are_not_asked_about(tmp_path):
    lines = [wide_line(str(age), age, DEN1_date=date(2024, 3, 8), DEN1_yield="9 ml") for age in (50, 60)]
    assert found(tmp_path, *lines) == {}
