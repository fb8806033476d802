"""Baroud et al., Gastrointest Endosc 2023;97:300: the rule as cited in definitions/extent.py, case by case."""

from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.groups import age_band, extent_class, extent_of_patients


@pytest.mark.parametrize(
    ("quadrants", "solid", "infected", "expected"),
    [
        (1, 30, False, "low"),
        (2, 29, True, "low"),
        (2, 31, False, "high"),
        (3, 5, False, "high"),
        (4, 90, True, "high"),
        (1, 59, True, "unclassified"),
        (1, 60, True, "unclassified"),
        (1, 61, True, "high"),
        (1, 61, False, "unclassified"),
        (1, 45, True, "unclassified"),
        (2, 30, False, "unclassified"),
        (float("nan"), 20, False, None),
        (1, float("nan"), True, None),
        (3, float("nan"), False, "high"),
        (1, 61, float("nan"), None),
        (1, 20, float("nan"), "low"),
    ],
)
def test_the_rule_and_its_gaps(quadrants, solid, infected, expected):
    assert extent_class([quadrants], [solid], [infected])[0] == expected


def test_each_patient_has_the_class_of_the_index_collection():
    courses = [Course(index={"quadrants": 1, "solid_percent": 10.0}), Course()]
    classes = extent_of_patients(registry_of(*courses))
    assert classes[0] == "low"
    assert classes.isna().tolist() == [False, True]


def test_bands_hold_their_lower_edge():
    bands = age_band(pd.Series([39, 40, 59, 60, 75, 90, None], dtype="Int64"))
    assert bands.tolist()[:6] == ["under 40", "40–59", "40–59", "60–74", "75 and over", "75 and over"]
    assert bands.isna().tolist()[6]
