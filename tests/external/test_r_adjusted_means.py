"""Adjusted means and p-values of several contrasts against R 4.2.2 (emmeans 1.8.4 on lme4 1.1-31); each entry of
data/r_adjusted_means.json gives its call. Degrees of freedom there are Kenward and Roger's: only
estimates, and p at those degrees of freedom, are compared."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.mixed import random_intercept
from necrostats.stats.multiplicity import adjusted_means, adjusted_p, tukey_p

R = {name: entry["value"] for name, entry in values("r_adjusted_means").items()}
YIELDS = data("derived_yield_single_positive")
CLASSES = R["emmeans.yield.main"]["instrument"]
CONSISTENCIES = sorted(YIELDS["consistency"].unique())


def row(instrument, consistency, session):
    return [
        1.0,
        *(float(instrument == each) for each in CLASSES[1:]),
        *(float(consistency == each) for each in CONSISTENCIES[1:]),
        session,
    ]


@pytest.fixture(scope="module")
def fit():
    columns = YIELDS[["instrument", "consistency", "session_no"]].itertuples(index=False, name=None)
    return random_intercept(YIELDS["ly"], [row(*each) for each in columns], YIELDS["patient_id"])


def test_means_over_settings_that_count_alike_and_by_how_often_they_occur(fit):
    middle = YIELDS["session_no"].mean()
    rows = [[row(each, other, middle) for other in CONSISTENCIES] for each in CLASSES]
    counts = [(YIELDS["consistency"] == each).sum() for each in CONSISTENCIES]
    for found, name in (
        (adjusted_means(fit, rows), "emmeans.yield.main"),
        (adjusted_means(fit, rows, counts=counts), "emmeans.yield.proportional"),
    ):
        assert_allclose([each.estimate for each in found], R[name]["emmean"], rtol=0, atol=1e-6)


def test_pairs_by_the_studentized_range():
    wanted = R["emmeans.yield.pairs.tukey"]
    t = np.divide(wanted["estimate"], wanted["se"])
    assert_allclose(tukey_p(t, len(CLASSES), wanted["df"]), wanted["p"], rtol=0, atol=1e-9)


@pytest.mark.parametrize("method", ["holm", "bonferroni"])
def test_p_values_taken_together(method):
    plain = R["emmeans.yield.pairs.none"]["p"]
    assert_allclose(adjusted_p(plain, method=method), R[f"emmeans.yield.pairs.{method}"]["p"], rtol=1e-9)
