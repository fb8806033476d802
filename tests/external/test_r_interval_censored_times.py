"""Interval-censored times against R 4.2.2 (npsurv; survival 3.5-3). Values were read from R's output."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from builders.outside_values import data, numbers, values
from necrostats.stats.npmle import npmle

R = values("r_interval_censored_times")


def test_the_non_parametric_estimate_is_that_of_npsurv():
    patients, expected = data("sim_patients"), R["npmle.sim_patients"]["value"]
    found = npmle(patients.scan_left, patients.scan_right)
    assert_array_equal(found.left, expected["left"])
    assert_array_equal(np.where(np.isinf(found.right), np.nan, found.right), numbers(expected["right"]))
    assert_allclose(found.mass, expected["p"], rtol=0, atol=1e-8)
    assert_allclose(found.log_likelihood, expected["loglik"], rtol=0, atol=1e-9)
    assert found.gradient <= 1e-10 and found.notes == ()
