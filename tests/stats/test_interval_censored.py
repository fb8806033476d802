from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import LogNormalFitter
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.interval_censored import lognormal_mean

quickly = settings(deadline=None, derandomize=True, max_examples=40)


def _mixed(seed, n=80):
    """Invented amounts, a quarter each exact, a range, less than and more than, in 25 clusters."""
    rng = np.random.default_rng(seed)
    amount, kind = np.exp(rng.normal(4, 0.9, n)), rng.integers(0, 4, n)
    low = np.choose(kind, [amount, amount * 0.7, np.zeros(n), amount * 0.6])
    high = np.choose(kind, [amount, amount * 1.4, amount * 1.6, np.full(n, np.inf)])
    return low, high, rng.integers(0, 25, n)


def test_four_exact_amounts_worked_by_hand():
    """10 and 20 from A, 40 and 80 from B: mean log 2 above 10 by 1.5; residuals of A −2 ln 2, of B +2 ln 2;
    SE = √(2 · 2 · (2 ln 2)² / 16) = ln 2, t(1)."""
    found = lognormal_mean([10, 20, 40, 80], [10, 20, 40, 80], list("AABB"))
    assert_allclose(found.estimate, 10 * 2**1.5)
    half = stats.t.ppf(0.975, 1) * np.log(2)
    assert_allclose([found.low, found.high], [found.estimate * np.exp(-half), found.estimate * np.exp(half)])
    assert (found.n, found.clusters) == (4, 2)


@pytest.mark.parametrize("seed", range(3))
def test_the_peak_is_that_of_lifelines(seed):
    low, high, cluster = _mixed(seed)
    found = lognormal_mean(low, high, cluster)
    with np.errstate(all="ignore"):
        theirs = LogNormalFitter().fit_interval_censoring(np.maximum(low, 1e-12), high)
    assert_allclose(np.log(found.estimate), theirs.mu_, rtol=1e-4)
    assert_allclose(found.log_sigma, np.log(theirs.sigma_), atol=1e-4)


@quickly
@given(logs=st.lists(st.floats(0.1, 7), min_size=4, max_size=30, unique=True), seed=st.integers(0, 9))
def test_exact_amounts_give_the_plain_geometric_mean_with_its_clustered_error(logs, seed):
    logs = np.array(logs)
    cluster = np.random.default_rng(seed).permutation(np.arange(logs.size) % max(2, logs.size // 2))
    found, groups = lognormal_mean(np.exp(logs), np.exp(logs), cluster, level=0.9), cluster.max() + 1
    assert_allclose(found.estimate, stats.gmean(np.exp(logs)))
    summed = np.bincount(cluster, weights=logs - logs.mean())
    error = np.sqrt(groups / (groups - 1) * np.sum(summed**2)) / logs.size
    half = stats.t.ppf(0.95, groups - 1) * error
    assert_allclose(np.log([found.low, found.high]), logs.mean() + np.array([-half, half]), atol=1e-9)


@quickly
@given(seed=st.integers(0, 500), level=st.floats(0.5, 0.98))
def test_limits_hold_the_estimate_and_grow_with_the_level(seed, level):
    rows = _mixed(seed, n=30)
    narrow, wide = lognormal_mean(*rows, level=level), lognormal_mean(*rows, level=level + 0.01)
    assert wide.low <= narrow.low <= narrow.estimate <= narrow.high <= wide.high


@quickly
@given(seed=st.integers(0, 500))
def test_row_order_labels_and_units_change_nothing(seed):
    low, high, cluster = _mixed(seed, n=30)
    order = np.random.default_rng(seed).permutation(low.size)
    one = lognormal_mean(low, high, cluster)
    other = lognormal_mean(low[order] / 1000, high[order] / 1000, [f"patient {each}" for each in cluster[order]])
    for part in ("estimate", "low", "high"):
        assert_allclose(getattr(other, part) * 1000, getattr(one, part), rtol=1e-6)


def test_a_missing_upper_limit_is_an_open_one():
    low, high, cluster = _mixed(1)
    unwritten = np.where(np.isinf(high), np.nan, high)
    assert lognormal_mean(low, unwritten, cluster).estimate == lognormal_mean(low, high, cluster).estimate


def _written(seed, n=150, clusters=40):
    """Invented amounts of median e⁴ and sigma .9, alike within clusters: "<30", "100-150", ">150" or exact."""
    rng = np.random.default_rng(seed)
    cluster = rng.integers(0, clusters, n)
    shared, own = rng.normal(0, np.sqrt(0.2), clusters)[cluster], rng.normal(0, np.sqrt(0.8), n)
    amount = np.exp(4 + 0.9 * (shared + own))
    kind = [amount < 30, amount > 150, amount > 100]
    return np.select(kind, [0, 150, 100], amount), np.select(kind, [30, np.inf, 150], amount), cluster


def test_95_per_cent_limits_hold_a_known_truth_in_about_95_of_100_series():
    held = [found.low < np.exp(4) < found.high for found in (lognormal_mean(*_written(seed)) for seed in range(100))]
    assert 89 <= sum(held) <= 99


def test_the_estimate_settles_on_the_truth_where_filled_in_numbers_do_not():
    low, high, cluster = _written(1, n=20_000, clusters=10_000)
    filled_in = np.where(low == 0, 15, np.where(np.isinf(high), 150, (low + high) / 2))
    assert abs(np.log(lognormal_mean(low, high, cluster).estimate) - 4) < 0.03
    assert abs(np.log(stats.gmean(filled_in)) - 4) > 0.06


@pytest.mark.parametrize(
    ("low", "high", "cluster", "estimate", "code"),
    [
        ([], [], [], np.nan, "SMALL_N"),
        ([5], [5], ["a"], 5, "SMALL_N"),
        ([5], [9], ["a"], np.nan, "NOT_CONVERGED"),
        ([5, 5], [5, 5], ["a", "b"], 5, "SINGULAR"),
        ([5, 0], [5, 10], ["a", "b"], 5, "SINGULAR"),
        ([3, 5], [np.inf, np.nan], ["a", "b"], np.nan, "NOT_CONVERGED"),
        ([0, 0], [3, 5], ["a", "b"], np.nan, "NOT_CONVERGED"),
        ([0, 5], [3, np.inf], ["a", "b"], np.nan, "NOT_CONVERGED"),
        ([50, 100], [100, 200], ["a", "b"], np.nan, "NOT_CONVERGED"),
        ([4, 9], [4, 9], ["a", "a"], 6, "FEW_CLUSTERS"),
        ([10, 40, 20, 20], [10, 40, 20, 20], list("aabb"), 20, "SINGULAR"),
    ],
)
def test_where_no_limits_can_be_given_there_is_an_estimate_if_it_exists_and_a_note(low, high, cluster, estimate, code):
    found = lognormal_mean(low, high, cluster)
    assert_allclose(found.estimate, estimate)
    assert np.isnan([found.low, found.high]).all()
    assert [note.code for note in found.notes] == [code]


def test_an_amount_open_on_both_sides_is_left_out_with_a_note():
    found = lognormal_mean([0, 10, 20], [np.inf, 10, 20], list("abc"))
    assert (found.n, found.clusters) == (2, 2)
    assert [note.code for note in found.notes] == ["MISSING", "FEW_CLUSTERS"]


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ([300, 1], [200, 2], "high number 1: 200 is less than its low"),
        ([0, 1], [0, 2], "no logarithm"),
        ([-1, 1], [2, 2], "low number 1: -1 is below 0"),
        ([np.nan, 1], [2, 2], "missing"),
    ],
)
def test_amounts_that_cannot_be_are_refused(low, high, words):
    with pytest.raises(StatisticsError, match=words):
        lognormal_mean(low, high, ["a", "b"])
