from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import rate_ratio

COUNTS, TIMES = st.integers(0, 60), st.floats(0.5, 5000)


@pytest.mark.parametrize("method", ["exact", "mid-P"])
@settings(deadline=None, derandomize=True, max_examples=80)
@given(a=COUNTS, b=COUNTS, time=TIMES, time_ref=TIMES)
def test_the_default_p_is_below_5_percent_just_when_the_95_percent_limits_leave_out_1(method, a, b, time, time_ref):
    found = rate_ratio(a, time, b, time_ref, method=method)
    if not a + b:
        assert np.isnan(found.p_value)
        return
    assert found.low <= found.estimate <= found.high
    if abs(found.p_value - 0.05) > 1e-9:
        assert (found.p_value < 0.05) == (not found.low <= 1 <= found.high)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(a=st.integers(1, 60), b=st.integers(1, 60), time=TIMES, time_ref=TIMES)
def test_swapping_the_groups_turns_the_ratio_over_and_the_unit_of_time_does_not_matter(a, b, time, time_ref):
    here, there = rate_ratio(a, time, b, time_ref), rate_ratio(b, time_ref, a, time)
    assert_allclose([here.low, here.high], [1 / there.high, 1 / there.low], rtol=1e-9)
    assert_allclose(here.p_value, there.p_value, rtol=1e-7)
    longer = rate_ratio(a, 7 * time, b, 7 * time_ref)
    assert_allclose([here.low, here.high, here.p_value], [longer.low, longer.high, longer.p_value], rtol=1e-9)


def test_p_at_no_events_is_not_halved():
    """0 v 5 events in equal times: the smaller tail is ½⁵, and its mid-P half of that."""
    assert rate_ratio(0, 10, 5, 10).p_value == pytest.approx(2 * 0.5**5)
    assert rate_ratio(0, 10, 5, 10, method="mid-P").p_value == pytest.approx(0.5**5)


def test_one_group_without_events_leaves_one_limit():
    none, all_ = rate_ratio(0, 100, 5, 100), rate_ratio(5, 100, 0, 100)
    assert (none.estimate, none.low) == (0, 0) and np.isfinite(none.high)
    assert (all_.estimate, all_.high) == (np.inf, np.inf) and all_.low > 0
    assert none.notes[0].code == all_.notes[0].code == "ZERO_EVENTS"


@pytest.mark.parametrize(
    ("counts", "code"), [((0, 9, 0, 9), "ZERO_EVENTS"), ((0, 0, 3, 9), "SMALL_N"), ((3, 9, 0, 0), "SMALL_N")]
)
def test_no_events_or_no_exposure_give_nothing_and_say_so(counts, code):
    found = rate_ratio(*counts)
    assert np.isnan([found.estimate, found.low, found.high, found.p_value]).all()
    assert [note.code for note in found.notes] == [code]


def test_what_cannot_be_is_refused():
    with pytest.raises(StatisticsError, match="2 events, but exposure is 0"):
        rate_ratio(2, 0, 1, 5)
    with pytest.raises(StatisticsError, match="below 0"):
        rate_ratio(2, 5, 1, -5)
    with pytest.raises(StatisticsError, match="one pair"):
        rate_ratio([2, 1], 5, 1, 5)
    with pytest.raises(ChoiceError, match="minlike"):
        rate_ratio(2, 5, 1, 5, test="minlik")
    with pytest.raises(ChoiceError, match="mid-P"):
        rate_ratio(2, 5, 1, 5, method="midp")
