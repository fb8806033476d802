"""What reviewers ask for, against R 4.2.2: crr, glm, glm.nb, wilcox.test, mcnemar.test, binom.test, qbeta.

Values were read from R's output; each entry of data/r_for_reviewers.json gives its call. Closed forms agree to 1e-9,
fits to the precision at which R's own iterations stop.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data, values
from necrostats.stats.comparisons.stratified import mcnemar
from necrostats.stats.comparisons.two_shares import share_against
from necrostats.stats.means import rank_sum
from necrostats.stats.proportions import jeffreys
from necrostats.stats.rates import count_regression
from necrostats.stats.subdistribution import fine_gray

R = values("r_for_reviewers")


def design(patients, *columns):
    return np.column_stack([patients["protocol"] == "B", *(patients[name] for name in columns)]).astype(float)


def test_fine_and_grays_model_is_that_of_cmprsk():
    patients, wanted = data("sim_patients"), R["finegray.sim_patients.resolution"]["value"]
    fit = fine_gray(patients["days"], patients["status"], design(patients, "age", "solid_pct", "size_mm"))
    assert_allclose(fit.coefficient, wanted["coef"], rtol=0, atol=1e-8)
    assert_allclose(fit.std_error, wanted["se"], rtol=1e-6)
    assert_allclose(fit.log_likelihood, wanted["loglik"], rtol=1e-9)


def test_rates_of_events_are_those_of_glm_with_an_offset():
    patients, wanted = data("sim_patients"), R["pois.ae_per_day"]["value"]
    about = {"exposure": patients["days"]}
    fit = count_regression(patients["n_ae"], design(patients, "solid_pct"), **about)
    assert_allclose(fit.coefficient, wanted["coef"], rtol=0, atol=1e-9)
    assert_allclose(fit.std_error, wanted["se"], rtol=1e-6)
    assert_allclose(fit.dispersion, wanted["dispersion"], rtol=1e-5)
    robust = count_regression(patients["n_ae"], design(patients, "solid_pct"), robust=True, **about)
    assert_allclose(robust.std_error, wanted["se_hc0"], rtol=1e-6)


def test_counts_that_crowd_no_more_than_poisson_counts_are_those_of_glm_nb_at_its_limit():
    patients, wanted = data("sim_patients"), R["nb.n_sessions"]["value"]
    fit = count_regression(patients["n_sessions"], design(patients, "solid_pct", "size_mm"), family="negative binomial")
    assert np.isinf(fit.theta) and fit.notes[0].code == "SINGULAR"
    assert_allclose(fit.coefficient, wanted["coef"], rtol=0, atol=1e-9)
    assert_allclose(fit.std_error, wanted["se"], rtol=1e-8)


def test_the_rank_sum_test_and_its_shift_are_those_of_wilcox_test():
    """R searches the shift to 1e-4 only: half a unit of its fourth decimal."""
    yields, wanted = data("derived_yield_single_positive"), R["wilcoxon.forceps_vs_powered"]["value"]
    of = yields.groupby("instrument")["yield_g"]
    found = rank_sum(of.get_group("forceps"), of.get_group("powered"))
    assert found.statistic == wanted["W"]
    assert_allclose(found.p_value, wanted["p"], rtol=1e-9)
    assert_allclose([found.shift, found.low, found.high], [wanted["hl"], *wanted["ci"]], rtol=0, atol=1e-4)


def test_mcnemars_test_is_that_of_r_on_agrestis_ratings():
    """Agresti A. Categorical Data Analysis, 1990, p. 350: 150 changed one way, 86 the other (R's example)."""
    found, wanted = mcnemar(150, 86, method="corrected"), R["mcnemar.agresti"]["value"]
    assert_allclose([found.statistic, found.p_value], [wanted["chisq"], wanted["p"]], rtol=1e-9)


@pytest.mark.parametrize("case", R["binom.test"]["value"])
def test_a_share_against_a_benchmark_is_tested_as_binom_test_does(case):
    given = case["k"], case["n"], case["p0"]
    assert_allclose(share_against(*given).p_value, case["p_two_sided_minlike"], rtol=1e-9)
    for side in ("greater", "less"):
        assert_allclose(share_against(*given, alternative=side).p_value, case[f"p_{side}"], rtol=1e-9)


def test_jeffreys_limits_are_the_quantiles_of_a_beta_distribution():
    for case in R["jeffreys"]:
        found = jeffreys(case["k"], case["n"])
        assert_allclose([found.low, found.high], case["jeffreys"], rtol=1e-9, atol=1e-12)
