"""Interval-censored times against R 4.2.2 (npsurv; survival 3.5-3). Values were read from R's output."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from builders.outside_values import data, numbers, values
from necrostats.stats.npmle import npmle
from necrostats.stats.parametric_times import parametric_times

R = values("r_interval_censored_times")


def test_the_non_parametric_estimate_is_that_of_npsurv():
    patients, expected = data("sim_patients"), R["npmle.sim_patients"]["value"]
    found = npmle(patients.scan_left, patients.scan_right)
    assert_array_equal(found.left, expected["left"])
    assert_array_equal(np.where(np.isinf(found.right), np.nan, found.right), numbers(expected["right"]))
    assert_allclose(found.mass, expected["p"], rtol=0, atol=1e-8)
    assert_allclose(found.log_likelihood, expected["loglik"], rtol=0, atol=1e-9)
    assert found.gradient <= 1e-10 and found.notes == ()


@pytest.mark.parametrize("shape", ["weibull", "log-normal", "log-logistic", "exponential"])
def test_parametric_models_are_those_of_survreg(shape):
    patients = data("sim_patients")
    expected = R[f"survreg.sim_patients.{shape.replace('-', '')}"]["value"]
    covariates = patients.assign(b=patients.protocol == "B")[["b", "solid_pct"]].astype(float)
    found = parametric_times(patients.scan_left, patients.scan_right, covariates, shape=shape)
    assert_allclose(found.coefficient, expected["coef"], rtol=0, atol=1e-8)
    assert_allclose([found.scale, found.log_likelihood], [expected["scale"], expected["loglik"]], rtol=0, atol=1e-8)
    errors = np.append(found.std_error, found.log_scale_error)[: len(expected["se"])]
    assert_allclose(errors, expected["se"], rtol=0, atol=1e-8)
    assert_allclose(found.median([0, 45]).estimate, expected["median_protA_solid45"], rtol=1e-8)
