import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize, stats

from necrostats.errors import StatisticsError
from necrostats.stats.mixed import _Profile, random_intercept


def _sample(seed, groups=6, size=4, between=0.5):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), size)
    keep = rng.random(group.size) < 0.85
    keep[:3] = True
    x = np.column_stack([np.ones(group.size), rng.integers(0, 2, group.size), rng.normal(size=group.size)])
    y = x @ [1.0, 0.5, -0.2] + between * rng.normal(size=groups)[group] + rng.normal(size=group.size)
    return y[keep], x[keep], group[keep]


def _criterion(at, y, x, group):
    """−2 × the restricted log-likelihood by dense matrices, from log residual variance and root of the ratio."""
    same = (group[:, None] == group).astype(float)
    v = np.exp(at[0]) * (np.eye(y.size) + at[1] ** 2 * same)
    inverse = np.linalg.inv(v)
    inner = x.T @ inverse @ x
    left = y - x @ np.linalg.solve(inner, x.T @ inverse @ y)
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(inner)[1]
    return logs + left @ inverse @ left + (y.size - x.shape[1]) * np.log(2 * np.pi)


@pytest.mark.parametrize("seed", range(12))
def test_no_direct_search_finds_a_better_place(seed):
    y, x, group = _sample(seed, between=(0.0, 0.5, 2.0)[seed % 3])
    fit = random_intercept(y, x, group)
    starts = [(0.0, 0.01), (0.0, 1.0), (1.0, 3.0)]
    best = min(
        optimize.minimize(
            _criterion,
            start,
            args=(y, x, group),
            method="Nelder-Mead",
            options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000},
        ).fun
        for start in starts
    )
    assert fit.criterion <= best + 1e-7
    assert fit.criterion == pytest.approx(
        _criterion((np.log(fit.within), np.sqrt(fit.between / fit.within)), y, x, group), abs=1e-8
    )


def test_a_balanced_design_has_the_answer_of_analysis_of_variance():
    """Each group once under both treatments: the paired t test, n − 1 degrees of freedom."""
    rng = np.random.default_rng(4)
    level = 2 * rng.normal(size=10)
    one, two = level + rng.normal(size=10), level + 0.7 + rng.normal(size=10)
    fit = random_intercept(
        np.concatenate([one, two]), np.column_stack([np.ones(20), np.repeat([0.0, 1.0], 10)]), np.tile(np.arange(10), 2)
    )
    found, expected = fit.contrast([0, 1]), stats.ttest_rel(two, one)
    assert found.df == pytest.approx(9, abs=1e-6) and found.p_value == pytest.approx(expected.pvalue, abs=1e-9)
    assert found.estimate == pytest.approx(np.mean(two - one))


def test_groups_that_do_not_differ_are_singular_with_the_errors_of_least_squares():
    y, x, group = _sample(1, between=0.0)
    y = y - np.array([y[group == each].mean() for each in range(6)])[group]
    fit = random_intercept(y, x, group)
    beta = np.linalg.lstsq(x, y)[0]
    sigma = np.sum((y - x @ beta) ** 2) / (y.size - 3)
    assert fit.singular and fit.coefficient == pytest.approx(beta)
    assert fit.covariance == pytest.approx(sigma * np.linalg.inv(x.T @ x))
    assert fit.contrast([0, 1, 0]).df == y.size - 3


def test_one_group_a_row_a_group_and_nothing_to_fit_have_a_defined_answer():
    y, x, group = _sample(2)
    one = random_intercept(y, x, np.zeros(y.size))
    assert np.isfinite(one.contrast([0, 1, 0]).low)
    assert np.isfinite(random_intercept(y, x, np.arange(y.size)).contrast([0, 1, 0]).low)
    for few in (
        random_intercept(y[:3], x[:3], group[:3]),
        random_intercept(np.ones(9), np.ones((9, 1)), np.arange(9)),
        random_intercept(y, np.column_stack([x, x[:, 1]]), group),
    ):
        assert few.notes[0].code == "SMALL_N" and np.isnan(few.coefficient).all()


def test_missing_values_are_refused():
    with pytest.raises(StatisticsError):
        random_intercept([1.0, np.nan], np.ones((2, 1)), [0, 1])


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(-5, 5), st.floats(0.1, 10))
def test_shifting_and_stretching_the_values_shifts_and_stretches_the_answer(seed, shift, scale):
    y, x, group = _sample(seed)
    fit, moved = random_intercept(y, x, group), random_intercept(scale * y + shift, x, group[::1])
    order = np.random.default_rng(seed).permutation(y.size)
    shuffled = random_intercept(y[order], x[order], group[order])
    assert moved.contrast([0, 1, 0]).estimate == pytest.approx(scale * fit.contrast([0, 1, 0]).estimate, abs=1e-6)
    assert moved.contrast([0, 1, 0]).df == pytest.approx(fit.contrast([0, 1, 0]).df, rel=1e-5)
    assert shuffled.contrast([0, 1, 0]).low == pytest.approx(fit.contrast([0, 1, 0]).low, abs=1e-7)


def test_slopes_at_many_ratios_are_those_at_each():
    rng = np.random.default_rng(5)
    whose = np.repeat(np.arange(6), [1, 2, 3, 4, 5, 2])
    x = np.column_stack([np.ones(whose.size), rng.normal(size=whose.size)])
    profile = _Profile(rng.normal(size=whose.size), x, whose)
    ratios = np.exp(np.linspace(-6, 6, 9))
    assert_allclose(profile.slopes(ratios), [profile.at(each).slope() for each in ratios], rtol=1e-10)


def test_a_likelihood_that_rises_without_end_gives_no_model_and_says_so():
    """Rows of a group all alike and groups apart: the more spread is put down to groups, the better, without end."""
    whose = np.repeat(np.arange(3), 2)
    x = np.column_stack([np.ones(6), [0, 1, 0, 1, 0, 1]])
    fit = random_intercept([1, 1, 5, 5, 2, 2 + 1e-9], x, whose)
    assert np.isnan(fit.coefficient).all() and fit.notes[0].code in ("NOT_CONVERGED", "SMALL_N")
