"""Sizes as written, to axes in mm."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.quantities import read_axes

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
