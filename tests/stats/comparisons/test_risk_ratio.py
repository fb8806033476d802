from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError
from necrostats.stats.comparisons import risk_ratio


@pytest.mark.parametrize("table", [(0, 10, 5, 10), (5, 10, 0, 10), (10, 10, 10, 10)])
def test_a_zero_cell_has_no_log_interval_and_the_note_says_so(table):
    found = risk_ratio(*table)
    assert np.isnan(found.low) and np.isnan(found.high)
    assert found.notes[0].code == "ZERO_EVENTS" and "½ is not added" in found.notes[0].text


def test_the_score_interval_has_limits_where_the_log_interval_has_none():
    none, all_ = risk_ratio(0, 10, 5, 10, method="score"), risk_ratio(5, 10, 0, 10, method="score")
    assert (none.estimate, none.low) == (0, 0) and 0 < none.high < 1
    assert (all_.estimate, all_.high) == (np.inf, np.inf) and 1 < all_.low < np.inf
    assert_allclose(none.high, 1 / all_.low)


def test_nobody_with_the_event_in_either_group_has_no_ratio():
    found = risk_ratio(0, 10, 0, 20)
    assert np.isnan([found.estimate, found.low, found.high]).all()
    assert [note.code for note in found.notes] == ["ZERO_EVENTS"]


@pytest.mark.parametrize("method", ["log", "score"])
@settings(deadline=None, derandomize=True, max_examples=60)
@given(n=st.integers(2, 80), m=st.integers(2, 80), draw=st.data())
def test_limits_hold_the_ratio_turn_over_with_the_groups_and_widen_with_the_level(method, n, m, draw):
    a, b = draw.draw(st.integers(1, n - 1)), draw.draw(st.integers(1, m - 1))
    here, there, wide = (
        risk_ratio(a, n, b, m, method=method),
        risk_ratio(b, m, a, n, method=method),
        risk_ratio(a, n, b, m, method=method, level=0.99),
    )
    assert 0 < wide.low < here.low < here.estimate < here.high < wide.high < np.inf
    assert_allclose([here.low, here.high], [1 / there.high, 1 / there.low], rtol=1e-9)


def test_with_large_groups_both_intervals_come_together():
    log, score = (risk_ratio(3000, 10_000, 2000, 10_000, method=method) for method in ("log", "score"))
    assert_allclose([log.low, log.high], [score.low, score.high], rtol=1e-3)


def test_an_empty_group_is_kept_apart_in_an_array():
    found = risk_ratio([1, 2, 0], [2, 4, 0], 1, 4)
    assert_allclose(found.estimate, [2, 2, np.nan])
    assert found.notes[0].code == "SMALL_N"


def test_a_method_off_the_list_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="log, score"):
        risk_ratio(1, 2, 1, 2, method="wald")
