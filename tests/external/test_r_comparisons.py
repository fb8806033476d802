"""Comparisons, Blaker limits and coverage against R 4.2.2; values read from R's output, call given in each entry."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from builders.outside_values import data, values
from necrostats.stats.comparisons import fisher, freeman_halton, mantel_haenszel, rate_ratio
from necrostats.stats.proportions import blaker, clopper_pearson, mid_p

R = values("r_comparisons")
BINOMIAL = values("r_exact_intervals")["binom.ci"]["value"]
COVERAGE = values("r_binomial_coverage")["binom.coverage.n30"]["value"]
CLOSE = {"rtol": 1e-9, "atol": 1e-9}


def test_blaker_limits_are_those_of_r():
    found = blaker([row["k"] for row in BINOMIAL], [row["n"] for row in BINOMIAL])
    assert_allclose(np.stack([found.low, found.high], axis=1), [row["blaker"] for row in BINOMIAL], **CLOSE)


@pytest.mark.parametrize(("method", "column"), [(blaker, "blaker"), (clopper_pearson, "cp"), (mid_p, "midp")])
def test_coverage_at_30_is_that_of_r(method, column):
    limits = method(np.arange(31), 30)
    for row in COVERAGE:
        held = (limits.low <= row["p"]) & (row["p"] <= limits.high)
        assert_allclose(stats.binom.pmf(np.arange(31), 30, row["p"])[held].sum(), row[column], **CLOSE)


@pytest.mark.parametrize("row", R["poisson.2sample"]["value"])
def test_two_rates_compare_as_in_r(row):
    counts = row["x1"], row["T1"], row["x2"], row["T2"]
    exact, mid = rate_ratio(*counts, test="minlike"), rate_ratio(*counts, method="mid-P")
    assert_allclose([exact.estimate, exact.low, exact.high], [row["ratio"], *row["ci"]], **CLOSE)
    assert_allclose([mid.low, mid.high], row["midp_ci"], **CLOSE)
    assert_allclose([exact.p_value, mid.p_value], [row["p"], row["midp_p_central"]], **CLOSE)


def test_before_and_after_compare_as_in_r():
    expected, quarters = R["chart.before_after_exact"]["value"], data("sim_quarterly")
    before, after = (part[["ae", "sessions", "patient_days"]].sum() for part in (quarters[:18], quarters[18:]))
    assert_allclose(fisher(after.ae, after.sessions, before.ae, before.sessions).p_value, expected["fisher_p"], **CLOSE)
    found = rate_ratio(after.ae, after.patient_days, before.ae, before.patient_days, test="minlike")
    assert_allclose([found.estimate, found.low, found.high], [expected["rate_ratio"], *expected["ci"]], **CLOSE)
    assert_allclose(found.p_value, expected["p"], **CLOSE)


def test_the_common_odds_ratio_is_that_of_r():
    """array(c(5,10,2,18,8,12,3,20,2,9,1,14), dim = c(2,2,3)), filled by columns: rows are the groups."""
    expected = R["mantel_haenszel"]["value"]
    found = mantel_haenszel([5, 8, 2], [7, 11, 3], [10, 12, 9], [28, 32, 23])
    assert_allclose([found.estimate, found.low, found.high], [expected["or"], *expected["ci"]], **CLOSE)
    assert_allclose(found.p_value, expected["p"], **CLOSE)


def test_three_groups_compare_as_in_r():
    assert_allclose(freeman_halton([8, 3, 9], [100, 60, 40]).p_value, R["fisher.rxc"]["value"]["p"], **CLOSE)
