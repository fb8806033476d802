from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from scipy.optimize import approx_fprime

from necrostats.stats.log_times import SHAPES, row_terms

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
