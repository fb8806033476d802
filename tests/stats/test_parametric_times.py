""""""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import LogNormalAFTFitter, LogNormalFitter, WeibullAFTFitter
from numpy.testing import assert_allclose
from scipy import stats
from scipy.optimize import approx_fprime

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.parametric_times import (
    SHAPES,
    log_amounts,
    lognormal_mean,
    parametric_times,
    peak,
    row_terms,
    terms,
)

quickly = settings(deadline=None, derandomize=True, max_examples=15)


def _scanned(seed, n=80):
    """Invented log-normal times of median e⁴ (half as long again with x = 1), known only between two scans."""
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 2, n)
    true = np.exp(4 + 0.4 * x + 0.8 * rng.normal(size=n))
    scans = np.cumsum(rng.integers(10, 30, (n, 15)), axis=1)
    left = np.where(scans < true[:, None], scans, 0).max(axis=1)
    right = np.where(scans >= true[:, None], scans, 10_000).min(axis=1)
    return left.astype(float), np.where(right == 10_000, np.inf, right), x


def test_exact_log_normal_times_worked_by_hand():
    """10, 20, 40, 80: mean log ln 20√2, scale the root mean square (n) of ±½ and ±1½ ln 2, error scale / √4."""
    found = parametric_times([10, 20, 40, 80], [10, 20, 40, 80], fewest_events=1)
    scale = np.log(2) * np.sqrt(1.25)
    assert_allclose([np.exp(found.coefficient[0]), found.scale], [20 * np.sqrt(2), scale], rtol=1e-8)
    assert_allclose([found.std_error[0], found.log_scale_error], [scale / 2, 1 / np.sqrt(8)], rtol=1e-6)
    assert_allclose(found.median([]).estimate, 20 * np.sqrt(2), rtol=1e-8)


@pytest.mark.parametrize(("shape", "fitter"), [("weibull", WeibullAFTFitter), ("log-normal", LogNormalAFTFitter)])
def test_it_is_the_fit_of_lifelines(shape, fitter):
    left, right, x = _scanned(1)
    rows = pd.DataFrame({"left": np.maximum(left, 1e-3), "right": np.minimum(right, 1e5), "x": x})
    with np.errstate(all="ignore"):
        theirs = fitter().fit_interval_censoring(rows, "left", "right")
    found = parametric_times(left, right, x, shape=shape)
    assert_allclose(found.log_likelihood, theirs.log_likelihood_, rtol=1e-4)
    names = ("lambda_", "x") if shape == "weibull" else ("mu_", "x")
    assert_allclose(found.coefficient[1], theirs.params_[names], rtol=1e-3)


@quickly
@given(seed=st.integers(0, 500), shape=st.sampled_from(["weibull", "log-normal", "log-logistic", "exponential"]))
def test_the_unit_of_time_moves_the_intercept_only_and_row_order_nothing(seed, shape):
    left, right, x = _scanned(seed, n=40)
    order = np.random.default_rng(seed).permutation(40)
    one = parametric_times(left, right, x, shape=shape, cluster=np.arange(40) // 2)
    other = parametric_times(
        left[order] * 24, right[order] * 24, x[order], shape=shape, cluster=(np.arange(40) // 2)[order]
    )
    assert_allclose(other.coefficient, one.coefficient + np.array([np.log(24), 0]), atol=1e-7)
    assert_allclose(other.std_error, one.std_error, atol=1e-7)


def test_limits_hold_a_known_ratio_in_about_95_of_100_series():
    fits = (parametric_times(*_scanned(seed)) for seed in range(60))
    assert 53 <= sum(found.low[1] < 0.4 < found.high[1] for found in fits) <= 60


def test_every_row_twice_in_its_cluster_gives_the_error_of_the_rows_once():
    left, right, x = _scanned(2)
    each = np.arange(left.size)
    once = parametric_times(left, right, x, cluster=each)
    twice = parametric_times(np.tile(left, 2), np.tile(right, 2), np.tile(x, 2), cluster=np.tile(each, 2))
    assert_allclose(twice.std_error, once.std_error, atol=1e-8)


def test_a_row_that_says_nothing_adds_nothing():
    left, right, x = _scanned(3)
    more = parametric_times(np.append(left, 0), np.append(right, np.nan), np.append(x, 1))
    assert_allclose(more.coefficient, parametric_times(left, right, x).coefficient, atol=1e-8)


@pytest.mark.parametrize(
    ("left", "right", "x", "code"),
    [
        ([], [], None, "ZERO_EVENTS"),
        ([5, 6], [np.inf, np.nan], None, "ZERO_EVENTS"),
        ([5, 6], [7, 8], None, "SMALL_N"),
        ([5] * 8, [7] * 8, None, "NOT_CONVERGED"),
        (np.arange(8), np.arange(8) + 5, np.ones(8), "SINGULAR"),
    ],
)
def test_edges(left, right, x, code):
    found = parametric_times(left, right, x)
    assert [note.code for note in found.notes] == [code]
    assert np.isnan(found.coefficient).all() and np.isnan(found.log_likelihood)


def test_no_global_state_changes():
    before = np.geterr()
    parametric_times(*_scanned(4), shape="weibull")
    assert np.geterr() == before


def test_ranges_that_cannot_be_are_refused():
    with pytest.raises(StatisticsError, match="before its left end"):
        parametric_times([4], [3])
    with pytest.raises(StatisticsError, match="no logarithm"):
        parametric_times([0], [0])
    with pytest.raises(ChoiceError, match="weibull"):
        parametric_times([1], [2], shape="gamma")


def test_one_cluster_gives_no_robust_error():
    found = parametric_times(*_scanned(6), cluster=np.zeros(80))
    assert np.isfinite(found.coefficient).all() and np.isnan(found.std_error).all()
    assert [note.code for note in found.notes] == ["FEW_CLUSTERS"]


LOW = np.array([1.0, -np.inf, 0.5, 2.0, -np.inf, 9.0])
HIGH = np.array([1.0, 1.5, 3.0, np.inf, np.inf, 9.5])
THEIRS = {"log-normal": stats.norm, "log-logistic": stats.logistic, "weibull": stats.gumbel_l}


@pytest.mark.parametrize("shape", THEIRS)
def test_values_are_those_of_the_named_distribution(shape):
    found = row_terms(SHAPES[shape], LOW, HIGH, np.full(6, 1.2), np.log(0.8)).value
    named = THEIRS[shape](1.2, 0.8)
    between = np.log(named.cdf(HIGH[1:5]) - named.cdf(LOW[1:5]))
    assert_allclose(found[:5], [named.logpdf(1.0) - 1.0, *between], atol=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_slopes_are_those_of_the_values(shape):
    def values(at, row, part):
        terms = row_terms(SHAPES[shape], LOW, HIGH, np.full(6, at[0]), at[1])
        return terms.value[row] if part is None else terms.slope[row, part]

    at = np.array([1.2, -0.2])
    terms = row_terms(SHAPES[shape], LOW, HIGH, np.full(6, at[0]), at[1])
    for row in range(5):
        assert_allclose(terms.slope[row], approx_fprime(at, lambda z, r=row: values(z, r, None), 1e-7), atol=1e-5)
        for part in (0, 1):
            slope = approx_fprime(at, lambda z, r=row, p=part: values(z, r, p), 1e-7)
            assert_allclose(terms.bend[row, part], slope, atol=1e-5)


@pytest.mark.parametrize("shape", ["log-normal", "log-logistic"])
def test_far_out_on_either_side_no_digits_are_lost(shape):
    low, high = np.array([20.0, -21.0]), np.array([21.0, -20.0])
    found = row_terms(SHAPES[shape], low, high, np.zeros(2), 0.0).value
    assert np.isfinite(found).all()
    assert_allclose(found[0], found[1], rtol=1e-12)


LOW_lognormal = np.array([120.0, 0, 50, 500, 200, 1e-3, 80])
HIGH_lognormal = np.array([120.0, 50, 100, np.inf, 201, 1e4, 80])


def test_the_likelihood_is_that_of_the_normal_distribution():
    found = terms(log_amounts(LOW_lognormal, HIGH_lognormal), 4.5, 0.2).value
    normal = stats.norm(4.5, np.exp(0.2))
    exact = LOW_lognormal == HIGH_lognormal
    assert_allclose(found[exact], normal.logpdf(np.log(LOW_lognormal[exact])))
    lower = normal.cdf(np.log(np.maximum(LOW_lognormal, 1e-300)))
    assert_allclose(found[~exact], np.log((normal.cdf(np.log(HIGH_lognormal)) - lower)[~exact]), rtol=1e-9)


@pytest.mark.parametrize("at", [(4.5, 0.2), (3.0, -0.7), (7.0, 1.1)])
def test_first_and_second_derivatives_are_those_found_numerically(at):
    rows, h = log_amounts(LOW_lognormal, HIGH_lognormal), 1e-5
    here = terms(rows, *at)
    for place, step in enumerate(np.eye(2) * h):
        up, down = terms(rows, *(np.array(at) + step)), terms(rows, *(np.array(at) - step))
        assert_allclose(here.score[:, place], (up.value - down.value) / (2 * h), rtol=1e-6, atol=1e-6)
        assert_allclose(here.hessian[:, place], (up.score - down.score) / (2 * h), rtol=1e-5, atol=1e-5)


def test_far_tails_keep_their_digits():
    found = terms(log_amounts(np.array([np.exp(30.0)]), np.array([np.exp(31.0)])), 0.0, 0.0)
    expected = stats.norm.logsf(30)
    assert_allclose(found.value, expected, rtol=1e-9)
    assert np.isfinite(found.score).all() and np.isfinite(found.hessian).all()


def test_the_gradient_is_0_at_the_peak():
    rows = log_amounts(LOW_lognormal, HIGH_lognormal)
    best = peak(rows)
    assert_allclose(terms(rows, best.mu, best.log_sigma).score.sum(axis=0), 0, atol=1e-9)


quickly_interval_censored = settings(deadline=None, derandomize=True, max_examples=40)


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


@quickly_interval_censored
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


@quickly_interval_censored
@given(seed=st.integers(0, 500), level=st.floats(0.5, 0.98))
def test_limits_hold_the_estimate_and_grow_with_the_level(seed, level):
    rows = _mixed(seed, n=30)
    narrow, wide = lognormal_mean(*rows, level=level), lognormal_mean(*rows, level=level + 0.01)
    assert wide.low <= narrow.low <= narrow.estimate <= narrow.high <= wide.high


@quickly_interval_censored
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
