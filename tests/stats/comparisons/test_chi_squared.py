from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2_contingency

from necrostats.stats.comparisons import chi_squared, yates


@settings(deadline=None, derandomize=True, max_examples=60)
@given(n=st.integers(2, 60), m=st.integers(2, 60), draw=st.data())
def test_statistic_and_p_are_those_of_scipy_with_and_without_correction(n, m, draw):
    a, b = draw.draw(st.integers(1, n - 1)), draw.draw(st.integers(0, m))
    for test, correction in ((chi_squared, False), (yates, True)):
        found, expected = test(a, n, b, m), chi2_contingency([[a, b], [n - a, m - b]], correction=correction)
        assert found.statistic == pytest.approx(expected.statistic, rel=1e-9, abs=1e-12)
        assert found.p_value == pytest.approx(expected.pvalue, rel=1e-9)


def test_a_very_small_p_does_not_vanish():
    assert 0 < chi_squared(500, 500, 0, 500).p_value < 1e-200
