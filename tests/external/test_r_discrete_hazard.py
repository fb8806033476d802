"""Person-session models against R 4.2.2 (glm, binomial). Values were read from R's output; glm stops at 1e-8."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.discrete_hazard import discrete_hazard

R = values("r_discrete_hazard")


@pytest.mark.parametrize("link", ["logit", "cloglog"])
def test_person_session_models_are_those_of_glm(link):
    patients, expected = data("sim_patients"), R[f"discrete.hazard_glm.{link}"]["value"]
    covariates = patients.assign(b=patients.protocol == "B")[["b", "solid_pct"]].astype(float)
    found = discrete_hazard(patients.n_sessions, patients.status == 1, covariates, link=link, cap=6)
    assert_allclose(np.append(found.baseline, found.coefficient), expected["coef"], rtol=0, atol=1e-7)
    assert_allclose(np.append(found.baseline_error, found.std_error), expected["se"], rtol=0, atol=1e-7)
    assert_allclose(found.deviance, expected["deviance"], rtol=0, atol=1e-9)
    assert found.notes == ()
