from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.present.drawing import (
    around_zero,
    drawable,
    from_zero,
    logarithmic,
    spread,
    whole_percent,
    width_of,
    wrapped,
)
from necrostats.present.wording import with_n

PLACES = st.lists(st.floats(0, 2.5), min_size=1, max_size=6)


def test_labels_that_do_not_touch_stay_where_they_are():
    assert spread([0.2, 1.0, 2.0], [0.2, 0.2, 0.2], 0, 2.5) == [0.2, 1.0, 2.0]


def test_two_labels_at_one_place_move_apart_evenly():
    assert spread([1.0, 1.0], [0.2, 0.2], 0, 2.5) == pytest.approx([0.9, 1.1])


@given(wanted=PLACES)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_no_two_labels_lie_on_each_other_or_leave_the_panel(wanted):
    size = 0.2
    centres = sorted(spread(wanted, [size] * len(wanted), 0, 2.5))
    assert all(b - a >= size - 1e-9 for a, b in pairwise(centres))
    assert centres[0] >= size / 2 - 1e-9
    assert centres[-1] <= 2.5 - size / 2 + 1e-9


@given(wanted=PLACES)
@settings(deadline=None, derandomize=True, max_examples=100)
def test_labels_keep_the_order_of_their_lines(wanted):
    centres = spread(wanted, [0.2] * len(wanted), 0, 2.5)
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    assert [centres[place] for place in order] == sorted(centres)


def test_a_broken_text_fits_its_width_and_keeps_every_word():
    text = "an instrument class with rather a long name"
    lines = wrapped(text, 1.0, 7.5, most=9)
    assert width_of(lines, 7.5) <= 1.0
    assert lines.replace("\n", " ") == text


def test_a_text_too_long_is_cut_within_its_width_but_keeps_its_number():
    text = with_n("an instrument class with rather a long name indeed", "17")
    lines = wrapped(text, 0.8, 7.5, most=2)
    assert width_of(lines, 7.5) <= 0.8
    assert "…" in lines
    assert lines.endswith("n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}17")


def test_a_word_longer_than_a_line_is_cut_to_fit():
    assert width_of(wrapped("x" * 80, 0.7, 7.5, most=20), 7.5) <= 0.7


def test_a_character_without_a_glyph_becomes_a_placeholder():
    assert drawable("necrosis 壊死") == "necrosis \N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}"


NAN = float("nan")


def test_a_scale_of_shares_never_goes_beyond_100_percent():
    scale = from_zero([0.2, 0.99], label="", factor=100, most=1.0)
    assert (scale.low, scale.high) == (0.0, 1.0)


@pytest.mark.parametrize("values", [[], [NAN], [0.0]])
def test_a_scale_without_values_is_still_a_scale(values):
    for scale in (from_zero(values, label=""), around_zero(values, label="")):
        assert scale.low < scale.high
        assert len(scale.ticks_within(2.0)) >= 2
    log = logarithmic(values, values, label="", reference=1.0)
    assert 0 < log.low < 1 < log.high


def test_ticks_are_fewer_where_there_is_less_room_and_do_not_touch():
    scale = whole_percent("%")
    assert scale.ticks_within(4.0) == pytest.approx([0, 0.2, 0.4, 0.6, 0.8, 1.0])
    assert scale.ticks_within(0.8) == pytest.approx([0, 0.5, 1.0])


def test_a_limit_without_end_is_cut_at_the_scale():
    scale = logarithmic([3.0], [0.0, math.inf], label="", reference=1.0)
    assert (scale.clipped(0.0), scale.clipped(math.inf)) == (scale.low, scale.high)
    assert scale.low <= 0.1
    assert scale.high >= 30
    assert math.isnan(scale.clipped(NAN))


def test_a_difference_is_drawn_around_zero_in_its_own_unit():
    scale = around_zero([-0.091, 0.027], label="", factor=100)
    assert scale.low <= -0.091 < 0.027 <= scale.high
    assert scale.tick_label(-0.05) == "−5"
