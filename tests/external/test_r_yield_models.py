"""Models of yields of sessions in patients against R 4.2.2: lme4 1.1-31, lmerTest 3.1-3, clubSandwich 0.5.8.

Values were read from R's output; each entry of data/r_yield_models.json gives its call. lmer's own optimiser stops
within 1e-8 of the top; least squares has a closed form.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.clustered import least_squares, within_groups
from necrostats.stats.mixed import random_intercept

R = values("r_yield_models")


def _design(rows, *, adjusted=True):
    columns = [np.ones(len(rows)), *(rows["instrument"] == each for each in ("basket", "snare", "powered"))]
    if adjusted:
        columns += [*(rows["consistency"] == each for each in ("liquid", "solid")), rows["session_no"]]
    return np.column_stack(columns).astype(float)


def _any_use():
    sessions = data("sim_sessions")
    rows = sessions[sessions["yield_g"] > 0]
    used = [
        (rows["instrument"] == each) | (rows["instrument2"] == each)
        for each in ("snare", "basket", "powered", "forceps")
    ]
    texture = [rows["consistency"] == each for each in ("liquid", "solid")]
    return (
        np.log(rows["yield_g"]),
        np.column_stack([np.ones(len(rows)), *used, *texture, rows["session_no"]]).astype(float),
        rows["patient_id"],
    )


def _model(name):
    if name == "lmm.yield.any_use":
        return _any_use()
    rows = data("derived_yield_single_positive")
    return rows["ly"], _design(rows, adjusted=name.endswith("main")), rows["patient_id"]


@pytest.mark.parametrize("name", ("lmm.yield.main", "lmm.yield.unadjusted", "lmm.yield.any_use"))
def test_the_random_intercept_is_that_of_lmer_with_the_degrees_of_freedom_of_lmertest(name):
    expected = R[name]["value"]
    fit = random_intercept(*_model(name))
    contrasts = [fit.contrast(each) for each in np.eye(len(expected["coef"]))]
    assert_allclose(fit.coefficient, expected["coef"], rtol=0, atol=1e-8)
    assert_allclose([each.error for each in contrasts], expected["se"], rtol=1e-7)
    assert_allclose([each.df for each in contrasts], expected["df_satterthwaite"], rtol=1e-5)
    assert_allclose([each.p_value for each in contrasts], expected["p_satterthwaite"], rtol=1e-4)
    assert fit.criterion == pytest.approx(expected["reml_or_ml"], abs=1e-8)
    assert_allclose([fit.between, fit.within], expected["varcomp"]["vcov"], rtol=1e-6)


def test_sleep_deprivation_slows_reactions_as_in_lmer():
    rows, expected = data("sleepstudy"), R["lmm.sleepstudy.int_reml"]["value"]
    fit = random_intercept(rows["Reaction"], np.column_stack([np.ones(len(rows)), rows["Days"]]), rows["Subject"])
    assert_allclose(fit.coefficient, expected["coef"], rtol=1e-10)
    assert_allclose([fit.contrast(each).df for each in np.eye(2)], expected["df_satterthwaite"], rtol=1e-5)


def test_where_groups_do_not_differ_the_coefficients_are_those_of_least_squares():
    rows, expected = data("singular_lmm"), R["lmm.singular"]["value"]
    fit = random_intercept(rows["y"], np.column_stack([np.ones(len(rows)), rows["x"], rows["z"]]), rows["g"])
    assert fit.singular and fit.between == 0
    assert_allclose(fit.coefficient, expected["ols"], rtol=1e-12)
    assert_allclose(np.sqrt(np.diag(fit.covariance)), expected["se"], rtol=1e-9)


def test_clustered_errors_and_their_degrees_of_freedom_are_those_of_clubsandwich():
    rows, expected = data("derived_yield_single_positive"), R["ols_cluster.yield"]["value"]
    fit = least_squares(rows["ly"], _design(rows), rows["patient_id"])
    contrasts = [fit.contrast(each) for each in np.eye(7)]
    assert_allclose(fit.coefficient, expected["coef"], rtol=0, atol=1e-12)
    assert_allclose([each.error for each in contrasts], expected["se_CR2"], rtol=1e-10)
    assert_allclose([each.df for each in contrasts], expected["df_CR2"], rtol=1e-10)
    assert_allclose([each.p_value for each in contrasts], expected["p_CR2"], rtol=1e-7)


def test_patient_effects_and_their_errors_are_those_of_lm_and_clubsandwich():
    rows, expected = data("derived_yield_single_positive"), R["within.yield"]["value"]
    fit = within_groups(rows["ly"], _design(rows)[:, 1:], rows["patient_id"])
    assert_allclose(fit.coefficient, expected["coef"][1:], rtol=0, atol=1e-12)
    assert_allclose([fit.contrast(each).error for each in np.eye(6)], expected["se_cr2"][1:], rtol=1e-9)
