from __future__ import annotations

import math

import pytest

from necrostats.present.scales import around_zero, from_zero, logarithmic, whole_percent

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
