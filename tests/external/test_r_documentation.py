"""Small data sets that textbooks and R's own help pages work through.

The digits were read from the output of R 4.2.2 (survival 3.5-3, lme4 1.1-31 with lmerTest 3.1-3, brglm2 0.9), half a
unit of the last one allowed. Where a book prints them too it is named, from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import data
from necrostats.stats.comparisons import fisher, odds_ratio
from necrostats.stats.comparisons.two_shares import share_against
from necrostats.stats.cox import cox
from necrostats.stats.curve_tests import log_rank
from necrostats.stats.curves import quantile
from necrostats.stats.gee import firth_logistic
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.means import rank_sum
from necrostats.stats.mixed import random_intercept
from necrostats.stats.proportions import clopper_pearson

MAINTAINED = [9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0]
NOT_MAINTAINED = [5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1, 1]


def _within(found, printed, decimals):
    assert_allclose(found, printed, rtol=0, atol=0.5 * 10.0**-decimals)


def test_remission_in_acute_myeloid_leukaemia():
    """Miller RG. Survival Analysis. 1981, page 49; R's survfit, survdiff and coxph of `aml`."""
    time, event = (np.array(one + two) for one, two in zip(MAINTAINED, NOT_MAINTAINED, strict=True))
    group = np.repeat(["maintained", "not"], [11, 12])
    median = quantile(kaplan_meier(time, event, group=group))
    assert median.estimate.tolist() == [31, 23] and median.low.tolist() == [13, 5]
    assert np.isnan(median.high[0]) and median.high[1] == 33
    _within(log_rank(time, event, group=group).statistic, 3.4, 1)
    fit = cox(time, event, group == "not")
    _within([fit.coefficient[0], fit.std_error[0]], [0.9155, 0.5119], 4)
    _within([fit.statistic[0], fit.likelihood_ratio.statistic], [1.788, 3.38], 2)
    _within(fit.likelihood_ratio.p_value, 0.06581, 5)


def test_two_trials_of_ovarian_cancer_by_stratum():
    """Edmunson JH et al. Cancer Treat Rep 1979;63:241; R's coxph of `ovarian`, age within strata of treatment."""
    time = [59, 115, 156, 421, 431, 448, 464, 475, 477, 563, 638, 744, 769]
    time += [770, 803, 855, 1040, 1106, 1129, 1206, 1227, 268, 329, 353, 365, 377]
    event = [1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 0]
    age = [72.3315, 74.4932, 66.4658, 53.3644, 50.3397, 56.4301, 56.937, 59.8548, 64.1753, 55.1781, 56.7562, 50.1096]
    age += [59.6301, 57.0521, 39.2712, 43.1233, 38.8932, 44.6, 53.9068, 44.2055, 59.589, 74.5041, 43.137, 63.2192]
    age += [64.4247, 58.3096]
    treatment = [1, 1, 1, 2, 1, 1, 2, 2, 1, 2, 1, 2, 2, 2, 1, 1, 1, 1, 2, 2, 2, 1, 1, 2, 2, 2]
    _within(log_rank(time, event, group=treatment).statistic, 1.06, 2)
    fit = cox(time, event, age, strata=treatment)
    _within([fit.coefficient[0], fit.std_error[0]], [0.13735, 0.04741], 5)
    _within(fit.likelihood_ratio.statistic, 12.69, 2)


YIELDS = {
    "dyestuff": [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    "dyestuff 2": [
        [7.298, 3.846, 2.434, 9.566, 7.99],
        [5.22, 6.556, 0.608, 11.788, -0.892],
        [0.11, 10.386, 13.434, 5.51, 8.166],
        [2.212, 4.852, 7.092, 9.288, 4.98],
        [0.282, 9.014, 4.458, 9.446, 7.198],
        [1.722, 4.782, 8.106, 0.758, 3.758],
    ],
}


@pytest.mark.parametrize(
    ("name", "criterion", "between", "within", "mean", "error"),
    [
        ("dyestuff", 319.6543, 42.001, 49.510, 1527.50, 19.38),
        ("dyestuff 2", 161.8283, 0.0, 3.716, 5.6656, 0.6784),
    ],
)
def test_the_batches_of_davies(name, criterion, between, within, mean, error):
    """Davies OL. Statistical Methods in Research and Production. 1947, table 6.3; Box GEP, Tiao GC. 1973, 5.1.2."""
    yields = np.array(YIELDS[name])
    fit = random_intercept(yields.ravel(), np.ones((30, 1)), np.repeat(np.arange(6), 5))
    found = fit.contrast([1])
    _within(fit.criterion, criterion, 4)
    _within(np.sqrt([fit.between, fit.within]), [between, within], 3)
    _within([found.estimate, found.error], [mean, error], 2)
    assert fit.singular == (between == 0)
    assert fit.singular or abs(found.df - 5) < 1e-6


def test_histology_of_the_endometrium_by_firths_likelihood():
    """Heinze G, Schemper M. Stat Med 2002;21:2409-2419, table II: neovasculation parts the grades completely.

    Estimates as brglm2 gives them; the limits of the profile are those of logistf's help page, from memory.
    """
    patients = data("endometrial")
    design = np.column_stack([np.ones(79), patients["NV"], patients["PI"], patients["EH"]])
    fit = firth_logistic(patients["HG"], np.ones(79), design)
    _within(fit.coefficients, [3.77455971, 2.92927335, -0.03475176, -2.60416393], 6)
    _within([fit.low[1], fit.high[1]], [0.6097, 7.8546], 4)


def test_permeability_of_the_amnion():
    """Hollander M, Wolfe DA. Nonparametric Statistical Methods. 1973, page 69; R's help of wilcox.test."""
    at_term = [0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]
    found = rank_sum(at_term, [1.15, 0.88, 0.90, 0.74, 1.21])
    assert found.statistic == 35 and found.method == "exact"
    _within(found.p_value, 0.2544, 4)
    _within([found.shift, found.low, found.high], [0.305, -0.15, 0.76], 3)


def test_the_lady_tasting_tea_and_the_convictions_of_twins():
    """Fisher RA. The Design of Experiments. 1935; Statistical Methods. 1970, page 96; R's help of fisher.test."""
    _within(fisher(3, 4, 1, 4).p_value, 0.4857, 4)
    _within(odds_ratio(3, 4, 1, 4).estimate, 6.408309, 3)
    _within(fisher(2, 12, 15, 18).p_value, 0.0005367, 7)
    _within(odds_ratio(2, 12, 15, 18).estimate, 0.04693661, 6)


def test_mendels_peas():
    """Conover WJ. Practical Nonparametric Statistics. 1971, page 97; R's help of binom.test."""
    found = clopper_pearson(682, 925)
    _within([found.low, found.high], [0.7076683, 0.7654066], 7)
    _within(share_against(682, 925, 0.75).p_value, 0.3825, 4)
