from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special, stats
from scipy.stats import chi2_contingency

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import (
    boschloo,
    chi_squared,
    compare_proportions,
    fisher,
    fisher_mid_p,
    freeman_halton,
    yates,
)
from necrostats.stats.comparisons.two_shares import (
    MEASURES,
    TEST_TITLES,
    TESTS,
    Counts,
    difference_limits,
    share_against,
    share_limits,
)

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


@pytest.mark.parametrize(
    ("table", "test", "why"),
    [
        ((30, 60, 20, 70), "uncorrected χ² test", "every count and every expected count is 5 or more"),
        ((4, 50, 20, 50), "Boschloo's exact test", "fewer than 5 events (4)"),
        ((5, 50, 20, 50), "uncorrected χ² test", "5 or more"),
        ((5, 10, 5, 10), "uncorrected χ² test", "every expected count is 5 or more"),
        ((0, 50, 20, 50), "Boschloo's exact test", "a cell of the table is empty"),
        ((46, 50, 20, 50), "Boschloo's exact test", "fewer than 5 without an event (4)"),
        ((5, 10, 5, 150), "Boschloo's exact test", "an expected count is below 5 (0.6)"),
        ((4, 150, 20, 150), "Fisher's exact test", "300 in all is more than 200"),
    ],
)
def test_the_test_follows_the_counts_and_the_rule_says_why(table, test, why):
    found = compare_proportions(*table)
    assert found.test == test
    assert why in found.rule
    assert 0 < found.p_value <= 1


@pytest.mark.parametrize("test", TESTS)
def test_every_other_test_is_one_argument_away_and_named(test):
    found = compare_proportions(8, 10, 2, 10, test=test)
    direct = TESTS[test](8, 10, 2, 10)
    assert (found.test, found.p_value) == (direct.test, direct.p_value)
    assert "asked for" in found.rule


@pytest.mark.parametrize("measure", MEASURES)
def test_every_measure_is_one_argument_away(measure):
    found, direct = compare_proportions(8, 10, 2, 10, measure=measure), MEASURES[measure](8, 10, 2, 10)
    assert (found.measure, found.estimate, found.low, found.high) == (measure, direct.estimate, direct.low, direct.high)


def test_a_method_can_be_asked_for():
    assert compare_proportions(8, 10, 2, 10, method="newcombe").method == "Newcombe hybrid score interval"


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("table", [(0, 10, 0, 20), (4, 4, 5, 5), (0, 0, 1, 3), (0, 0, 0, 0)])
def test_where_no_test_is_possible_none_is_named(measure, table):
    found = compare_proportions(*table, measure=measure)
    assert np.isnan(found.p_value) and found.test == ""
    assert found.rule.startswith("No test")
    assert found.notes and len(found.notes) == len(set(found.notes))


def test_choices_off_the_list_are_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "fisher"'):
        compare_proportions(1, 2, 1, 2, test="fischer")
    with pytest.raises(ChoiceError, match="risk ratio"):
        compare_proportions(1, 2, 1, 2, measure="relative risk")


@pytest.mark.parametrize(("n", "test"), [(99, "Boschloo"), (100, "Boschloo"), (101, "Fisher")])
def test_boschloo_is_taken_up_to_two_hundred_in_all(n, test):
    assert compare_proportions(1, n, 3, 100).test.startswith(test)


def test_every_test_has_the_title_it_prints_itself():
    assert {name: test(8, 10, 2, 10).test for name, test in TESTS.items()} == TEST_TITLES


def test_the_wald_limits_of_a_share_are_those_of_newcombes_table_1():
    """Newcombe RG. Stat Med 1998;17:857-872, Table I, simple asymptotic, 81 of 263 and 15 of 148; from memory."""
    for k, n, low, high in ((81, 263, 0.2522, 0.3638), (15, 148, 0.0527, 0.1500)):
        found = share_limits(k, n, 0.95)["Wald"]
        assert_allclose([found.low, found.high], [low, high], rtol=0, atol=0.00005)


def test_the_wald_limits_of_a_difference_are_as_computed_apart():
    found = difference_limits(Counts(k=17, n=43, k_ref=31, n_ref=45), 0.95)["Wald"]
    assert (found.low, found.high) == (pytest.approx(-0.49266648501759513), pytest.approx(-0.09441361834157805))
