"""Fine and Gray's model."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.cox import cox
from necrostats.stats.subdistribution import fine_gray

quickly = settings(deadline=None, derandomize=True, max_examples=15)


def series(seed, n=80):
    rng = np.random.default_rng(seed)
    return rng.integers(1, 40, n), rng.integers(0, 3, n), rng.normal(size=(n, 2))


def test_three_subjects_worked_by_hand():
    """Cause at 1 (x = 1), another end at 2 (0), cause at 3 (1), none censored: who ended at 2 stays at risk at 3.

    b − ln(2e^b + 1) + b − ln(e^b + 1) is highest where 2e^b / (2e^b + 1) + e^b / (e^b + 1) = 2: never, so two causes on
    either side instead: at 3 with x = 0, b − ln(e^b + 2) − ln 2 rises without end, and with x = (0, 1, 1) the peak of
    −ln(1 + 2e^b) + b − ln(2e^b) falls for ever. With x = (1, 0, 0), (0, 1, 1) mirrored in two strata's worth of
    subjects the score is 0 at b = 0.
    """
    fit = fine_gray([1, 2, 3, 1, 2, 3], [1, 2, 1, 1, 2, 1], [1, 0, 0, 0, 1, 1.0], fewest_events=1)
    assert_allclose(fit.coefficient, 0, atol=1e-10)
    assert_allclose(fit.hazard, [2 / 6, 2 / 4], rtol=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_without_other_ends_it_is_coxs_model_with_breslows_ties(seed):
    time, cause, x = series(seed)
    alone = np.where(cause == 2, 0, cause)
    fit, reference = fine_gray(time, alone, x), cox(time, alone == 1, x, ties="breslow", cluster=np.arange(time.size))
    assert_allclose(fit.coefficient, reference.coefficient, rtol=1e-7)
    assert_allclose(fit.std_error, reference.std_error, rtol=1e-7)


def test_the_predicted_incidence_grows_with_time_and_with_a_covariate_that_goes_with_more():
    rng = np.random.default_rng(3)
    x = rng.integers(0, 2, 300).astype(float)
    time = np.ceil(rng.exponential(20 / np.exp(x), 300))
    fit = fine_gray(time, rng.choice([0, 1, 1, 2], 300), x)
    risen = fit.incidence([[0.0], [1.0]], [0, 5, 20, 60])
    assert (np.diff(risen, axis=1) >= 0).all() and (risen[1, 1:] > risen[0, 1:]).all()
    assert_allclose(risen[:, 0], 0)


def test_what_cannot_be_fitted_says_why():
    assert fine_gray([1, 2, 3], [1, 0, 2], [1, 2, 3.0]).notes[0].code == "SMALL_N"
    same = fine_gray(np.arange(1, 11), np.ones(10, int), np.ones(10))
    assert same.notes[0].code == "SINGULAR" and np.isnan(same.coefficient).all()
    apart = fine_gray(np.arange(1, 21), np.where(np.arange(20) < 10, 1, 2), np.where(np.arange(20) < 10, 1.0, 0.0))
    assert apart.notes[0].code == "SEPARATION"
    with pytest.raises(ChoiceError):
        fine_gray([1, 2], [0, 2], [1, 2.0])
    with pytest.raises(StatisticsError):
        fine_gray([1, 2], [1, 2], 3.0)


@quickly
@given(st.integers(0, 1000), st.floats(0.1, 10), st.floats(-50, 50))
def test_order_scale_and_shift_of_covariates_change_nothing_else(seed, scale, shift):
    time, cause, x = series(seed)
    order = np.random.default_rng(seed).permutation(time.size)
    one, two = fine_gray(time, cause, x), fine_gray(time[order], cause[order], scale * x[order] + shift)
    assert_allclose(two.coefficient * scale, one.coefficient, rtol=1e-6, atol=1e-9)
    assert_allclose(two.p_value, one.p_value, rtol=1e-6)
    assert_allclose(two.incidence(scale * x[:2] + shift, [10]), one.incidence(x[:2], [10]), rtol=1e-6)
