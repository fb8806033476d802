from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.stats.lognormal import log_amounts, peak, terms

LOW = np.array([120.0, 0, 50, 500, 200, 1e-3, 80])
HIGH = np.array([120.0, 50, 100, np.inf, 201, 1e4, 80])


def test_the_likelihood_is_that_of_the_normal_distribution():
    found = terms(log_amounts(LOW, HIGH), 4.5, 0.2).value
    normal = stats.norm(4.5, np.exp(0.2))
    exact = LOW == HIGH
    assert_allclose(found[exact], normal.logpdf(np.log(LOW[exact])))
    lower = normal.cdf(np.log(np.maximum(LOW, 1e-300)))
    assert_allclose(found[~exact], np.log((normal.cdf(np.log(HIGH)) - lower)[~exact]), rtol=1e-9)


@pytest.mark.parametrize("at", [(4.5, 0.2), (3.0, -0.7), (7.0, 1.1)])
def test_first_and_second_derivatives_are_those_found_numerically(at):
    rows, h = log_amounts(LOW, HIGH), 1e-5
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
    rows = log_amounts(LOW, HIGH)
    best = peak(rows)
    assert_allclose(terms(rows, best.mu, best.log_sigma).score.sum(axis=0), 0, atol=1e-9)
