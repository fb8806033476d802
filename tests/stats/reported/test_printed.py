from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import StatisticsError
from necrostats.stats.reported.printed import printed


def test_text_keeps_its_trailing_zeros_and_a_number_needs_its_decimals():
    assert printed("p", "0.80").decimals == 2
    assert printed("p", 0.8).decimals == 1
    assert printed("p", 0.8, 2).decimals == 2


@pytest.mark.parametrize(
    ("text", "value", "decimals", "bound"),
    [
        ("<0.001", 0.001, 3, "<"),
        ("−0.29", -0.29, 2, ""),
        ("34 %", 34, 0, ""),
        ("0·87", 0.87, 2, ""),
        (">.9", 0.9, 1, ">"),
    ],
)
def test_print_is_read_as_it_is_written(text, value, decimals, bound):
    found = printed("figure", text)
    assert (found.value, found.decimals, found.bound) == (value, decimals, bound)


def test_half_a_unit_fits_and_more_does_not():
    shown = printed("ratio", "0.57")
    assert shown.fits(0.565) and shown.fits(0.575)
    assert not shown.fits(0.5649) and not shown.fits(0.5751)


def test_a_bound_is_a_side():
    assert printed("p", "<0.001").fits(0.0002) and not printed("p", "<0.001").fits(0.002)
    assert printed("p", ">0.99").fits(1.0) and not printed("p", ">0.99").fits(0.5)


def test_digits_cut_off_are_told_from_rounding():
    shown = printed("p", "0.002")
    assert shown.cut_off(0.0029) and not shown.fits(0.0029)
    assert not shown.cut_off(0.0019)
    assert printed("d", "-0.29").cut_off(-0.2989)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.floats(-1000, 1000), st.integers(0, 4))
def test_every_number_fits_its_own_print(value, decimals):
    assert printed("figure", f"{value:.{decimals}f}").fits(value)


@pytest.mark.parametrize("text", ["", "n/a", "1-2", ".", "0.3 to 0.4"])
def test_what_is_no_number_is_refused_as_written(text):
    with pytest.raises(StatisticsError, match="not a printed number"):
        printed("ratio", text)
