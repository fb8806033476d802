"""Cells that should hold one number."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import ChoiceError
from necrostats.registry.quantities import read_axes, read_count, read_minutes, read_number

_SIZE_LIKE = st.lists(
    st.sampled_from(
        [
            "12",
            "10",
            "8",
            "1.2",
            "1,5",
            "1.200",
            "0",
            "x",
            "×",
            "by",
            " ",
            "cm",
            "mm",
            ":",
            "h",
            "min",
            "'",
            "~",
            "-",
            ">",
        ]
    ),
    max_size=9,
).map("".join)


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        ("45 min", 45),
        ("45", 45),
        ("90'", 90),
        ("1h", 60),
        ("1.5 h", 90),
        ("1h 10", 70),
        ("1h10min", 70),
        ("1 h 10 min", 70),
        ("1:10 h", 70),
        ("1:10:00", 70),
        ("01:05:30", 65.5),
        (45, 45),
    ],
)
def test_a_length_of_time_is_read_in_minutes(text, minutes):
    found = read_minutes(text)
    assert (found.value, found.problem) == (minutes, "")


@pytest.mark.parametrize("text", ["1:10", "45-60", ">45", "1h 75", "90''", "1:75:00", "h", "45 ml", "-5"])
def test_a_time_with_two_readings_or_none_is_set_aside(text):
    found = read_minutes(text)
    assert found.value is None and found.problem


@pytest.mark.parametrize(("text", "count"), [("3", 3), ("x3", 3), ("3 passes", 3), (3.0, 3), ("3.0", 3), ("0", 0)])
def test_a_count_is_a_whole_number_with_or_without_its_noun(text, count):
    assert read_count(text).value == count


@pytest.mark.parametrize("text", ["3.5", "20+", "3-4", "3x4", "three", "1,200", "-1", "20 mm", "x1x"])
def test_what_is_not_one_whole_number_is_no_count(text):
    found = read_count(text)
    assert found.value is None and found.problem


def test_a_number_of_another_kind_of_unit_is_set_aside():
    assert read_number("3 cm", unit="mm").value == 30
    assert read_number("20 Fr", unit="Fr").value == 20
    assert read_number("3 cm", unit="ml").problem
    with pytest.raises(ChoiceError, match="parsec"):
        read_number("3", unit="parsec")


@given(text=st.one_of(st.text(max_size=60), _SIZE_LIKE))
@settings(deadline=None, derandomize=True, max_examples=400)
def test_any_text_gives_one_number_or_a_reason(text):
    for found in (read_count(text), read_minutes(text), read_number(text, unit="mm")):
        assert (found.value is None or found.value >= 0) and not (found.problem and found.value is not None)
        assert found.value is not None or found.problem or found.rule in ("blank", "text kept")


@pytest.mark.parametrize(
    ("text", "unit", "axes"),
    [
        ("12x10x8", "cm", (120, 100, 80)),
        ("120 × 100 × 80 mm", None, (120, 100, 80)),
        ("8X12X10cm", None, (120, 100, 80)),
        ("12 cm x 10 cm x 8 cm", "mm", (120, 100, 80)),
        ("12 cm x 100 mm", None, (120, 100, None)),
        ("12 by 10 cm", None, (120, 100, None)),
        ("12,5 x 10 x 8", "cm", (125, 100, 80)),
        ("12 cm", None, (120, None, None)),
        ("0x0x0", "mm", (0, 0, 0)),
        ("-", "cm", (None, None, None)),
        (12, "cm", (120, None, None)),
    ],
)
def test_axes_are_longest_first_in_millimetres(text, unit, axes):
    found = read_axes(text, unit)
    assert (found.long_mm, found.mid_mm, found.short_mm) == axes
    assert (found.problem, found.question) == ("", "")


def test_axes_without_any_unit_are_asked_about_and_not_filled():
    found = read_axes("12x10x8")
    assert found.long_mm is None and "no unit" in found.question and not found.problem


@pytest.mark.parametrize(
    "text",
    ["12x10x8x3 cm", "12 cm x 10 x 8", "12-13 cm", "12/10/8", "12 x", ">12 cm", "12 ml", "1,200 x 3", "2 100 x 3"],
)
def test_axes_that_cannot_be_read_whole_are_set_aside(text):
    found = read_axes(text, "cm")
    assert found.problem and found.long_mm is None


@given(text=st.one_of(st.text(max_size=60), _SIZE_LIKE))
@settings(deadline=None, derandomize=True, max_examples=400)
def test_any_text_gives_axes_in_order_or_a_reason(text):
    found = read_axes(text, "cm")
    filled = [axis for axis in (found.long_mm, found.mid_mm, found.short_mm) if axis is not None]
    assert filled == sorted(filled, reverse=True) and not (filled and found.problem)
    assert filled or found.problem or found.rule in ("blank", "text kept")
