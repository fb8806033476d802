from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import risk_difference

METHODS = ("miettinen-nurminen", "newcombe")
QUICK = settings(deadline=None, derandomize=True, max_examples=60)
SIZES = st.integers(1, 60)


@st.composite
def tables(draw):
    n, m = draw(SIZES), draw(SIZES)
    return draw(st.integers(0, n)), n, draw(st.integers(0, m)), m


@pytest.mark.parametrize("method", METHODS)
@QUICK
@given(table=tables())
def test_limits_hold_the_estimate_stay_within_one_and_widen_with_the_level(method, table):
    narrow, wide = (risk_difference(*table, level=level, method=method) for level in (0.8, 0.95))
    assert -1 <= wide.low <= narrow.low <= narrow.estimate + 1e-12
    assert narrow.estimate - 1e-12 <= narrow.high <= wide.high <= 1


@pytest.mark.parametrize("method", METHODS)
@QUICK
@given(table=tables())
def test_swapping_the_groups_turns_the_sign(method, table):
    a, n, b, m = table
    here, there = risk_difference(a, n, b, m, method=method), risk_difference(b, m, a, n, method=method)
    assert_allclose([here.low, here.high], [-there.high, -there.low], atol=1e-10)


@pytest.mark.parametrize("method", METHODS)
@QUICK
@given(table=tables())
def test_counting_the_others_instead_turns_the_sign(method, table):
    a, n, b, m = table
    here, there = risk_difference(a, n, b, m, method=method), risk_difference(n - a, n, m - b, m, method=method)
    assert_allclose([here.low, here.high], [-there.high, -there.low], atol=1e-10)


def _score(difference, a, n, b, m):
    """The score statistic with the restricted shares found by a general optimiser instead of the closed form."""

    def against(q):
        p = np.array([q + difference, q])
        with np.errstate(divide="ignore", invalid="ignore"):
            parts = np.array([a, b]) * np.log(p), np.array([n - a, m - b]) * np.log1p(-p)
        return -np.sum([np.where(np.isnan(part), 0.0, part) for part in parts])

    bounds = max(0.0, -difference) + 1e-12, min(1.0, 1 - difference) - 1e-12
    q = optimize.minimize_scalar(against, bounds=bounds, method="bounded", options={"xatol": 1e-12}).x
    p = q + difference
    variance = (p * (1 - p) / n + q * (1 - q) / m) * (n + m) / (n + m - 1)
    return (a / n - b / m - difference) / np.sqrt(variance)


@settings(deadline=None, derandomize=True, max_examples=30)
@given(st.integers(2, 40), st.integers(2, 40), st.data())
def test_at_each_limit_the_score_statistic_is_the_normal_quantile(n, m, draw):
    a, b = draw.draw(st.integers(1, n - 1)), draw.draw(st.integers(1, m - 1))
    found = risk_difference(a, n, b, m)
    scores = [_score(limit, a, n, b, m) for limit in (found.low, found.high)]
    assert_allclose(scores, [1.959964, -1.959964], atol=2e-4)


def test_arrays_give_what_single_tables_give():
    a, n, b, m = np.array([[0, 5, 10, 3], [10, 10, 10, 9], [0, 0, 0, 2], [20, 10, 10, 7]])
    for method in METHODS:
        together = risk_difference(a, n, b, m, method=method)
        alone = [risk_difference(*row, method=method) for row in zip(a, n, b, m, strict=True)]
        assert_allclose(together.low, [each.low for each in alone], atol=1e-12)
        assert_allclose(together.high, [each.high for each in alone], atol=1e-12)


@pytest.mark.parametrize("method", METHODS)
def test_an_empty_group_gives_nothing_and_says_so(method):
    found = risk_difference([0, 1], [0, 2], 1, 3, method=method)
    assert np.isnan([found.estimate[0], found.low[0], found.high[0]]).all()
    assert np.isfinite([found.estimate[1], found.low[1], found.high[1]]).all()
    assert found.notes[0].code == "SMALL_N" and "1 of 2 rows" in found.notes[0].text


@pytest.mark.parametrize("method", METHODS)
def test_one_against_one_has_limits(method):
    found = risk_difference(1, 1, 0, 1, method=method)
    assert found.high == 1 and -1 <= found.low < 1


def test_counts_that_cannot_be_are_refused_by_the_name_of_their_group():
    with pytest.raises(StatisticsError, match="events_ref: 4 is more than its n_ref"):
        risk_difference(1, 2, 4, 3)
    with pytest.raises(StatisticsError, match="not a whole number"):
        risk_difference(1.5, 2, 1, 3)
    with pytest.raises(ChoiceError, match="newcombe"):
        risk_difference(1, 2, 1, 3, method="newcomb")
