from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import StatisticsError
from necrostats.stats.comparisons import fisher, freeman_halton


@settings(deadline=None, derandomize=True, max_examples=40)
@given(n=st.integers(1, 30), m=st.integers(1, 30), draw=st.data())
def test_with_two_groups_it_is_fishers_test(n, m, draw):
    a, b = draw.draw(st.integers(0, n)), draw.draw(st.integers(0, m))
    if 0 < a + b < n + m:
        assert freeman_halton([a, b], [n, m]).p_value == pytest.approx(fisher(a, n, b, m).p_value, rel=1e-9)


def test_the_order_of_the_groups_and_groups_with_nobody_change_nothing():
    here = freeman_halton([8, 3, 9], [100, 60, 40]).p_value
    assert freeman_halton([9, 0, 8, 3], [40, 0, 100, 60]).p_value == pytest.approx(here, rel=1e-12)


@pytest.mark.parametrize(("k", "n"), [([0, 0], [3, 4]), ([3, 4], [3, 4]), ([2], [5]), ([], []), ([1, 0], [3, 0])])
def test_nothing_to_test_gives_no_p_and_a_note(k, n):
    found = freeman_halton(k, n)
    assert np.isnan(found.p_value) and found.notes[0].code == "ZERO_EVENTS"


def test_too_many_tables_are_refused_with_a_way_out():
    with pytest.raises(StatisticsError, match="χ²"):
        freeman_halton([40] * 8, [80] * 8)
