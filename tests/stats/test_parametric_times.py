from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import LogNormalAFTFitter, WeibullAFTFitter
from numpy.testing import assert_allclose
from scipy import stats
from scipy.optimize import approx_fprime

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.parametric_times import SHAPES, parametric_times, row_terms

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
