from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize, special
from scipy.stats import nchypergeom_fisher

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import odds_ratio, risk_difference, risk_ratio
from necrostats.stats.comparisons.common import two_groups
from necrostats.stats.comparisons.risk_difference import beyond, difference_variance, ratio_variance

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


def _groups(*table):
    return two_groups(*([each] for each in table))


def test_without_a_difference_the_fitted_share_is_that_of_all_and_so_it_is_for_a_ratio_of_1():
    """8 of 10 and 2 of 10: both fitted at 10/20; 20/19 × (0.25/10 + 0.25/10) = 1/19."""
    groups = _groups(8, 10, 2, 10)
    assert difference_variance(groups, np.array([0.0])) == pytest.approx(1 / 19)
    assert ratio_variance(groups, np.array([1.0])) == pytest.approx(1 / 19)


def test_at_the_difference_and_the_ratio_seen_the_fitted_shares_are_those_seen():
    """8 of 10 and 3 of 10: 20/19 × (0.16/10 + 0.21/10), and for the ratio 8/3 20/19 × (0.016 + (8/3)² × 0.021)."""
    groups = _groups(8, 10, 3, 10)
    assert difference_variance(groups, np.array([0.5])) == pytest.approx(20 / 19 * 0.037)
    assert ratio_variance(groups, np.array([8 / 3])) == pytest.approx(20 / 19 * (0.016 + (8 / 3) ** 2 * 0.021))


@pytest.mark.parametrize("table", [(8, 10, 2, 10), (1, 7, 3, 12), (0, 6, 2, 9), (5, 5, 0, 4)])
@pytest.mark.parametrize("given", [-0.4, 0.1, 0.35])
def test_the_closed_form_is_the_most_likely_pair_of_shares_with_that_difference(table, given):
    """The likelihood searched by scipy instead of the cubic of Miettinen and Nurminen."""
    a, n, b, m = table

    def unlikely(q):
        p = q + given
        return -sum(special.xlogy(k, s) for k, s in ((a, p), (n - a, 1 - p), (b, q), (m - b, 1 - q)))

    ends = (max(0, -given), min(1, 1 - given))
    q = optimize.minimize_scalar(unlikely, bounds=ends, method="bounded", options={"xatol": 1e-12}).x
    q = min((*ends, q), key=unlikely)
    p = q + given
    expected = (n + m) / (n + m - 1) * (p * (1 - p) / n + q * (1 - q) / m)
    assert difference_variance(_groups(*table), np.array([given])) == pytest.approx(expected, abs=2e-7)


def test_at_the_ends_of_what_a_difference_or_ratio_can_be_nothing_varies():
    groups = _groups(3, 5, 1, 5)
    assert difference_variance(groups, np.array([1.0])) == pytest.approx(0, abs=1e-12)
    assert difference_variance(groups, np.array([-1.0])) == pytest.approx(0, abs=1e-12)
    assert ratio_variance(groups, np.array([0.0])) == pytest.approx(0, abs=1e-12)


def test_beyond_is_positive_past_what_is_allowed_negative_within_and_certain_at_no_distance():
    found = beyond(np.array([4.0, 1.0, 0.0, 0.0, 2.0]), np.array([1.0, 4.0, 0.0, 3.0, 0.0]))
    assert found.tolist() == pytest.approx([0.6, -0.6, -1, -1, 1])


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


def test_the_conditional_limits_leave_two_and_a_half_percent_in_each_tail():
    """Against Fisher's non-central hypergeometric distribution, solved here by itself."""
    a, n, b, m = 8, 10, 2, 10
    found = odds_ratio(a, n, b, m)

    def tail(log_odds, low):
        seen = nchypergeom_fisher(n + m, a + b, n, np.exp(log_odds))
        return (seen.sf(a - 1) if low else seen.cdf(a)) - 0.025

    expected = [np.exp(optimize.brentq(tail, -3, 10, args=(low,))) for low in (True, False)]
    assert_allclose([found.low, found.high], expected, rtol=1e-6)


def test_an_empty_cell_leaves_the_exact_ratio_one_limit():
    none, all_ = odds_ratio(0, 10, 5, 10), odds_ratio(5, 10, 0, 10)
    assert (none.estimate, none.low) == (0, 0) and 0 < none.high < 1
    assert (all_.estimate, all_.high) == (np.inf, np.inf) and 1 < all_.low < np.inf
    assert none.notes[0].code == all_.notes[0].code == "ZERO_EVENTS"


def test_woolf_has_no_interval_with_an_empty_cell():
    found = odds_ratio(5, 10, 0, 10, method="woolf")
    assert found.estimate == np.inf and np.isnan([found.low, found.high]).all()
    assert "½ is not added" in found.notes[0].text


@pytest.mark.parametrize("method", ["conditional", "woolf"])
@pytest.mark.parametrize(
    ("table", "code"), [((0, 10, 0, 20), "ZERO_EVENTS"), ((3, 3, 2, 2), "ZERO_EVENTS"), ((0, 0, 1, 2), "SMALL_N")]
)
def test_no_contrast_gives_nothing_and_says_so(method, table, code):
    found = odds_ratio(*table, method=method)
    assert np.isnan([found.estimate, found.low, found.high]).all()
    assert [note.code for note in found.notes] == [code]


def test_one_table_at_a_time():
    with pytest.raises(StatisticsError, match="one pair of groups"):
        odds_ratio([1, 2], 4, 1, 4)
    with pytest.raises(ChoiceError, match="woolf"):
        odds_ratio(1, 4, 1, 4, method="wolf")
