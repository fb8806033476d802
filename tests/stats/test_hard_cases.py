"""Inputs on which estimators were wrong without a word, slow, or failed with a programmer's message."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.stats import contingency

from necrostats.errors import StatisticsError
from necrostats.stats import checks
from necrostats.stats.comparisons import boschloo, odds_ratio
from necrostats.stats.comparisons.rate_ratio import clustered_odds_ratio, clustered_rate_ratio
from necrostats.stats.cox import cox
from necrostats.stats.curve_tests import log_rank
from necrostats.stats.gee import firth_logistic
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.means import mean, mean_difference
from necrostats.stats.ordinal import proportional_odds
from necrostats.stats.proportions import distinct_pairs
from necrostats.stats.rates import clustered_rate, count_regression

DAYS = [date(2024, 1, 1), date(2024, 1, 2)]


@pytest.mark.parametrize("events", [0, 1])
@pytest.mark.parametrize(("k", "n"), [(0, 50), (1, 50), (25, 50), (50, 50), (0, 1000), (500, 1000)])
def test_firth_settles_where_a_group_has_one_unit_and_is_a_half_added_to_each_cell(events, k, n):
    """For one yes/no covariate the penalty adds ½ to each cell: Heinze and Schemper 2002, section 3 (from memory)."""
    fit = firth_logistic([events, k], [1, n], [[1, 1], [1, 0]])
    wanted = np.log((events + 0.5) / (1.5 - events)) - np.log((k + 0.5) / (n - k + 0.5))
    assert not fit.notes
    assert_allclose(fit.coefficients[1], wanted, rtol=1e-7)


@pytest.mark.parametrize("values", [[0.1] * 3, [0.1 + 0.2, 0.3, 0.3], [5.0, 5.0]])
def test_values_that_are_the_same_but_for_rounding_give_no_limits(values):
    found = mean(values)
    assert np.isnan([found.low, found.high]).all() and found.notes
    assert np.isnan(mean_difference(values, values).low)


def test_rates_of_units_that_are_all_alike_have_no_robust_limits():
    found = clustered_rate([1, 2, 3], [0.1, 0.2, 0.3])
    assert np.isnan([found.low, found.high]).all() and found.notes[0].code == "SINGULAR"
    ratio = clustered_rate_ratio([1, 1, 1], [10, 10, 10], [0, 3, 1], [10, 10, 10])
    assert np.isnan([ratio.low, ratio.high, ratio.p_value]).all() and ratio.notes[0].code == "SINGULAR"


ALIKE = np.concatenate([np.tile([1, 0, 0, 0], 5), np.tile([1, 1, 0, 0], 5)])
GROUP, CLUSTER = np.repeat([0, 1], 20), np.repeat(np.arange(10), 4)


def test_odds_of_clusters_that_are_all_alike_have_no_limits():
    """Five clusters with 1 of 4, five with 2 of 4: the odds ratio is 3, and once came with p of 1e-122."""
    found = clustered_odds_ratio(ALIKE, GROUP, CLUSTER)
    assert_allclose(found.estimate, 3)
    assert np.isnan([found.low, found.high, found.p_value]).all() and found.notes[0].code == "SINGULAR"
    pairs = clustered_odds_ratio(np.tile([1, 0], 20), GROUP, np.repeat(np.arange(20), 2))
    assert_allclose(pairs.estimate, 1)
    assert np.isnan([pairs.low, pairs.high, pairs.p_value]).all() and pairs.notes[0].code == "SINGULAR"


def test_counts_and_categories_of_clusters_that_are_all_alike_have_no_limits():
    counted = count_regression(ALIKE, GROUP, cluster=CLUSTER)
    assert_allclose(counted.coefficient[1], np.log(2))
    assert np.isnan(counted.p_value).all() and counted.notes[0].code == "SINGULAR"
    ordered = proportional_odds(ALIKE, GROUP, CLUSTER)
    found = ordered.contrast([1])
    assert_allclose(found.estimate, np.log(3))
    assert np.isnan(found.p_value) and ordered.notes[0].code == "SINGULAR"


def test_pairs_of_large_numbers_stay_apart():
    n = np.array([95_000_001, 95_000_001, 95_000_002])
    pairs = distinct_pairs(np.array([3, 4, 3]), n)
    assert_array_equal(pairs.spread(pairs.k), [3, 4, 3])
    assert_array_equal(pairs.spread(pairs.n), n)


def test_times_that_differ_by_rounding_are_one_time():
    curve = kaplan_meier([0.1 + 0.2, 0.3, 0.5], [1, 1, 1])
    assert curve.table.time.tolist() == [0.3, 0.5]
    assert curve.table.events.ravel().tolist() == [2, 1]
    one, two = (
        cox(time, [1, 1, 1, 1], [1, 0, 0, 1.0], fewest_events=1) for time in ([0.3, 0.3, 1, 2], [0.1 + 0.2, 0.3, 1, 2])
    )
    assert_array_equal(one.coefficient, two.coefficient)
    late = kaplan_meier([0.3, 0.5], [1, 1], entry=[0.0, 0.1 + 0.2])
    assert late.table.at_risk.ravel().tolist()[0] == 1


@pytest.mark.parametrize("scale", [1.0, 1e6, 1e-6])
def test_times_a_thousandth_apart_stay_two(scale):
    assert kaplan_meier(scale * np.array([1.0, 1.001]), [1, 1]).table.time.size == 2


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: kaplan_meier(DAYS, [1, 1]), "dates"),
        (lambda: kaplan_meier(pd.to_datetime(DAYS), [1, 1]), "dates"),
        (lambda: kaplan_meier([timedelta(1), timedelta(2)], [1, 1]), "lengths of time"),
        (lambda: kaplan_meier(pd.to_timedelta([1, 2], unit="D"), [1, 1]), "lengths of time"),
        (lambda: kaplan_meier(["1", "2"], [1, 1]), "text"),
        (lambda: kaplan_meier([1, 2], ["1", "0"]), "text"),
        (lambda: cox([1, 2, 3], [1, 1, 1], ["a", "b", "c"]), "text"),
        (lambda: cox([1, 2, 3], [1, 1, 1], 5), "a row for each time"),
        (lambda: log_rank([1, 2, 3], [1, 1, 0], group=["a", 1, "b"]), "mixes"),
        (lambda: log_rank([1, 2, 3], [1, 1, 0], group=["a", None, "b"]), "missing"),
        (lambda: log_rank([1, 2, 3], [1, 1, 0], group=["a", pd.NA, "b"]), "missing"),
        (lambda: log_rank([1, 2, 3], [1, 1, 0], group=["a", float("nan"), "b"]), "missing"),
        (lambda: checks.seed(-1), "no seed"),
        (lambda: checks.seed(1.5), "no seed"),
    ],
)
def test_what_no_estimator_can_take_is_one_plain_error(call, said):
    with pytest.raises(StatisticsError, match=said):
        call()


@pytest.mark.parametrize("cells", [(5, 10, 3, 10), (0, 7, 3, 9), (7, 7, 3, 9), (12, 40, 30, 90), (1, 2, 1, 2)])
@pytest.mark.parametrize("level", [0.9, 0.95, 0.99])
def test_the_conditional_odds_ratio_is_that_of_scipy_where_scipy_is_quick(cells, level):
    a, n, b, m = cells
    found = odds_ratio(*cells, level=level)
    reference = contingency.odds_ratio([[a, n - a], [b, m - b]], kind="conditional")
    limits = reference.confidence_interval(level)
    assert_allclose([found.estimate, found.low, found.high], [reference.statistic, limits.low, limits.high], rtol=1e-9)


def test_the_conditional_odds_ratio_of_very_many_is_that_of_the_cross_product():
    found = odds_ratio(500_000, 1_000_000, 480_000, 1_000_000)
    log_error = np.sqrt(1 / 5e5 + 1 / 5e5 + 1 / 4.8e5 + 1 / 5.2e5)
    assert_allclose(
        np.log([found.low, found.high]), np.log(13 / 12) + np.array([-1, 1]) * 1.959964 * log_error, atol=1e-5
    )


def test_boschloos_test_says_that_it_will_not_be_computed_for_large_groups():
    found = boschloo(400, 1000, 350, 1000)
    assert np.isnan(found.p_value) and "not computed" in found.notes[0].text
