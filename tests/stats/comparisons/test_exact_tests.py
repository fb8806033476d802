from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special, stats
from scipy.stats import chi2_contingency

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import boschloo, chi_squared, fisher, fisher_mid_p, freeman_halton, yates
from necrostats.stats.comparisons.exact_tests import share_against

EVERY = (boschloo, chi_squared, fisher, fisher_mid_p, yates)


def test_one_table_has_four_p_values_and_each_says_which_it_is():
    four = [test(8, 10, 2, 10) for test in (fisher, chi_squared, yates, boschloo)]
    assert {each.test: f"{each.p_value:.4f}" for each in four} == {
        "Fisher's exact test": "0.0230",
        "uncorrected χ² test": "0.0073",
        "χ² test with Yates' correction": "0.0253",
        "Boschloo's exact test": "0.0118",
    }


@pytest.mark.parametrize("test", EVERY)
@settings(deadline=None, derandomize=True, max_examples=15)
@given(n=st.integers(1, 25), m=st.integers(1, 25), draw=st.data())
def test_p_is_a_probability_and_does_not_change_with_the_order_or_with_what_is_counted(test, n, m, draw):
    a, b = draw.draw(st.integers(0, n)), draw.draw(st.integers(0, m))
    if a + b in (0, n + m):
        return
    here = test(a, n, b, m).p_value
    assert 0 < here <= 1
    assert here == pytest.approx(test(b, m, a, n).p_value, rel=1e-4)
    assert here == pytest.approx(test(n - a, n, m - b, m).p_value, rel=1e-4)


@pytest.mark.parametrize(("n", "m"), [(3, 1), (4, 4), (9, 5)])
def test_boschloo_is_twice_the_smaller_of_two_suprema_over_the_common_share(n, m):
    """Every table of these sizes, the suprema taken over a fine grid; written from the definition."""
    share = np.linspace(0, 1, 4001)[1:-1]
    of_n, of_m = (stats.binom.pmf(np.arange(size + 1)[:, None], size, share) for size in (n, m))
    x, y = np.meshgrid(np.arange(n + 1), np.arange(m + 1), indexing="ij")
    tails = stats.hypergeom.cdf(x, n + m, x + y, n), stats.hypergeom.sf(x - 1, n + m, x + y, n)
    for a, b in zip(x.ravel(), y.ravel(), strict=True):
        if 0 < a + b < n + m:
            regions = [(tail <= tail[a, b] * (1 + 1e-9)).astype(float) for tail in tails]
            suprema = [np.max(np.sum(of_n * (region @ of_m), axis=0)) for region in regions]
            assert boschloo(a, n, b, m).p_value == pytest.approx(min(1, 2 * min(suprema)), rel=1e-4)


@settings(deadline=None, derandomize=True, max_examples=15)
@given(n=st.integers(2, 20), m=st.integers(2, 20), draw=st.data())
def test_boschloo_is_no_larger_than_twice_fishers_smaller_tail(n, m, draw):
    a, b = draw.draw(st.integers(0, n)), draw.draw(st.integers(0, m))
    if a + b in (0, n + m):
        return
    assert boschloo(a, n, b, m).p_value <= min(1, 2 * _fisher_tail(a, n, b, m)) + 1e-9


def _fisher_tail(a, n, b, m):
    ways = np.array(
        [
            special.comb(n, x, exact=True) * special.comb(m, a + b - x, exact=True)
            for x in range(n + 1)
            if 0 <= a + b - x <= m
        ],
        dtype=float,
    )
    first = max(0, a + b - m)
    chance = ways / ways.sum()
    return min(chance[: a - first + 1].sum(), chance[a - first :].sum())


def test_the_mid_p_counts_the_table_seen_by_half():
    tail, seen = _fisher_tail(8, 10, 2, 10), special.comb(10, 8) * special.comb(10, 2) / special.comb(20, 10)
    assert fisher_mid_p(8, 10, 2, 10).p_value == pytest.approx(2 * (tail - seen / 2))


@pytest.mark.parametrize("test", EVERY)
@pytest.mark.parametrize("table", [(0, 10, 0, 20), (10, 10, 20, 20), (0, 0, 3, 9), (0, 0, 0, 0)])
def test_where_nothing_can_be_compared_there_is_no_p_and_a_note(test, table):
    found = test(*table)
    assert np.isnan(found.p_value)
    assert [note.code for note in found.notes] == ["SMALL_N" if 0 in table[1::2] else "ZERO_EVENTS"]


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


def test_none_of_three_against_a_half_worked_by_hand():
    assert_allclose(share_against(0, 3, 0.5).p_value, 2 / 8)
    assert_allclose(share_against(0, 3, 0.5, alternative="less").p_value, 1 / 8)
    assert share_against(0, 3, 0.5, alternative="greater").p_value == 1


def test_edges():
    assert np.isnan(share_against(0, 0, 0.5).p_value) and share_against(0, 0, 0.5).notes
    assert share_against(3, 3, 1).p_value == 1 and share_against(1, 3, 0).p_value == 0
    with pytest.raises(StatisticsError, match="benchmark"):
        share_against(1, 3, 1.2)
    with pytest.raises(ChoiceError):
        share_against(1, 3, 0.2, alternative="both")
