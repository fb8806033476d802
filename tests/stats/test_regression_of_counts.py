"""Regression of counts."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.rates import clustered_rate
from necrostats.stats.regression_of_counts import count_regression


def crowded(seed=1, n=120):
    rng = np.random.default_rng(seed)
    x, time = rng.integers(0, 2, n).astype(float), rng.uniform(10, 100, n)
    return rng.poisson(rng.gamma(0.8, 1 / 0.8, n) * 0.02 * time * np.exp(0.5 * x)), x, time


def test_two_groups_give_the_ratio_of_their_rates():
    fit = count_regression([3, 5, 8, 2], [0, 0, 1, 1.0], exposure=[10, 20, 10, 10])
    assert_allclose(np.exp(fit.coefficient), [8 / 30, (10 / 20) / (8 / 30)], rtol=1e-9)
    assert_allclose(fit.std_error[1] ** 2, 1 / 8 + 1 / 10, rtol=1e-9)


def test_the_negative_binomial_is_that_of_statsmodels_own_likelihood():
    y, x, time = crowded()
    reference = sm.NegativeBinomial(y, sm.add_constant(x), exposure=time).fit(disp=0, maxiter=500, method="newton")
    fit = count_regression(y, x, exposure=time, family="negative binomial")
    assert_allclose(fit.coefficient, reference.params[:2], rtol=1e-4)
    assert_allclose(1 / fit.theta, reference.params[2], rtol=1e-4)
    assert fit.log_likelihood >= reference.llf - 1e-9


def test_errors_by_patient_are_those_of_the_clustered_rate():
    y, _, time = crowded()
    fit = count_regression(y, np.zeros((y.size, 0)), exposure=time, cluster=np.arange(y.size))
    rate = clustered_rate(y, time)
    assert_allclose(
        np.exp([fit.coefficient[0], fit.low[0], fit.high[0]]), [rate.estimate, rate.low, rate.high], rtol=1e-7
    )


def test_crowded_counts_are_noted_where_nothing_allows_for_them():
    y, x, time = crowded()
    assert [note.code for note in count_regression(y, x, exposure=time).notes] == ["OVERDISPERSED"]
    assert count_regression(y, x, exposure=time, cluster=np.arange(y.size)).notes == ()


def test_what_cannot_be_fitted_says_why():
    assert count_regression([0, 0], [0, 1.0]).notes[0].code == "ZERO_EVENTS"
    assert count_regression([1, 2], [0, 1.0]).notes[0].code == "SMALL_N"
    assert count_regression([5, 6], [1, 1.0]).notes[0].code == "SINGULAR"
    assert count_regression([0, 0, 5, 6], [0, 0, 1, 1.0]).notes[0].code == "SEPARATION"
    assert np.isnan(count_regression([5, 6], [0, 1.0], cluster=[1, 1]).std_error).all()
    with pytest.raises(StatisticsError, match="exposure"):
        count_regression([5, 6], [0, 1.0], exposure=[1, 0])
    with pytest.raises(ChoiceError):
        count_regression([5, 6], [0, 1.0], family="normal")
