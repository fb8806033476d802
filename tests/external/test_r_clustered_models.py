"""Models of sessions in patients against R 4.2.2: geepack 1.3.9 (geeglm), brglm2 (Firth's correction).

Values were read from R's output; each entry of data/r_clustered_models.json gives its call. Fits agree to their own
tolerance. geepack and statsmodels divide the moment estimate of the correlation differently, which moves the
exchangeable coefficients by 2e-4.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.gee import firth_logistic, logit_gee
from necrostats.stats.rates import mid_p

R = values("r_clustered_models")


def _sessions():
    return data("sim_sessions")


def _design(powered, sessions):
    return np.column_stack([np.ones(len(sessions)), powered, sessions["session_no"]])


def _any_powered(sessions):
    return ((sessions["instrument"] == "powered") | (sessions["instrument2"] == "powered")).astype(float)


@pytest.mark.parametrize(("structure", "tolerance"), [("independence", 1e-6), ("exchangeable", 5e-4)])
def test_estimating_equations_are_those_of_geepack(structure, tolerance):
    sessions, expected = _sessions(), R[f"gee.ae.{structure}"]["value"]
    design = _design(_any_powered(sessions), sessions)
    found = logit_gee(sessions["ae"], design, sessions["patient_id"], structure=structure, errors="robust")
    assert_allclose(found.coefficients, expected["coef"], rtol=0, atol=tolerance)
    assert_allclose(found.std_errors, expected["se"], rtol=0, atol=tolerance)


def test_the_correlation_within_patients_is_that_of_geepack():
    sessions = _sessions()
    found = logit_gee(sessions["ae"], _design(_any_powered(sessions), sessions), sessions["patient_id"])
    assert found.correlation == pytest.approx(R["gee.ae.exchangeable"]["value"]["alpha"], abs=5e-5)


def test_firth_is_that_of_brglm2():
    """brglm2 stops at steps of 1e-6."""
    sessions, expected = _sessions(), R["firth.logistic.sim_sessions"]["value"]
    design = _design((sessions["instrument"] == "powered").astype(float), sessions)
    found = firth_logistic(sessions["ae"], 1, design)
    assert_allclose(found.coefficients, expected["coef"], rtol=0, atol=1e-6)
    assert_allclose(found.std_errors, expected["se"], rtol=0, atol=1e-6)


def test_mid_p_limits_for_a_count_are_those_of_r():
    rows = values("r_exact_intervals")["poisson.ci"]["value"]
    found = mid_p([row["x"] for row in rows], 1)
    assert_allclose(np.stack([found.low, found.high], axis=1), [row["midp"] for row in rows], rtol=1e-9, atol=1e-9)
