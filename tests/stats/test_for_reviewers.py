"""Number needed to treat, E-value, the simultaneous band, and whether strata have one odds ratio."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from statsmodels.stats.contingency_tables import StratifiedTable

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons.risk_difference import number_needed
from necrostats.stats.comparisons.stratified import breslow_day
from necrostats.stats.confounding import e_value
from necrostats.stats.incidence import equal_precision_band, equal_precision_critical, kaplan_meier
from necrostats.stats.proportions import clopper_pearson, jeffreys

REMISSION = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
HAPPENED = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
STRATA = ([2, 12, 1], [7, 20, 5], [3, 7, 6], [9, 27, 11])


def test_the_number_needed_is_the_reciprocal_of_the_difference():
    found = number_needed(20, 100, 10, 100)
    assert_allclose(found.estimate, 10)
    assert 0 < found.low < 10 < found.high and not found.either_way


def test_a_difference_that_may_go_either_way_runs_through_infinity():
    found = number_needed(8, 100, 10, 100)
    assert found.either_way and found.low < 0 < found.high and found.notes
    assert number_needed(5, 10, 5, 10).estimate == np.inf
    assert np.isnan(number_needed(0, 0, 5, 10).estimate)


def test_e_values_are_as_published():
    """VanderWeele and Ding 2017: 3.9 (1.8 to 8.7) gives 7.26 and 3.0; 0.8 (0.71 to 0.91) gives 1.81 and 1.43."""
    found = e_value(3.9, 1.8, 8.7)
    assert_allclose([found.estimate, found.limit], [7.26, 3.0], atol=0.005)
    protective = e_value(0.8, 0.71, 0.91)
    assert_allclose([protective.estimate, protective.limit], [1.81, 1.43], atol=0.005)


def test_an_interval_that_holds_one_needs_nothing_unmeasured():
    assert e_value(1.2, 0.9, 1.6).limit == 1 and e_value(1.0).estimate == 1
    assert e_value(4.0, measure="odds ratio", rare=False).estimate == e_value(2.0).estimate
    with pytest.raises(StatisticsError):
        e_value(2.0, 2.5, 3.0)
    with pytest.raises(ChoiceError):
        e_value(2.0, measure="difference")


@given(st.floats(0.05, 20))
def test_an_e_value_is_that_of_the_reciprocal_and_beyond_the_ratio(ratio):
    assert_allclose(e_value(ratio).estimate, e_value(1 / ratio).estimate, rtol=1e-9)
    assert e_value(ratio).estimate >= max(ratio, 1 / ratio) - 1e-12


@pytest.mark.parametrize(("first", "last", "critical"), [(0.1, 0.6, 2.8826), (0.1, 0.9, 3.0542)])
def test_critical_values_of_the_equal_precision_band_are_as_tabled(first, last, critical):
    """Klein JP, Moeschberger ML. Survival Analysis, table C.3 (2.8826 from memory; 3.0542 by the same formula)."""
    assert_allclose(equal_precision_critical(first, last), critical, atol=0.5e-4)


def test_the_band_lies_around_the_pointwise_limits_and_grows_with_the_level():
    band, curve = equal_precision_band(REMISSION, HAPPENED), kaplan_meier(REMISSION, HAPPENED)
    rows = np.isin(curve.table.time, band.time)
    assert (band.low <= curve.low[0, rows]).all() and (band.high >= curve.high[0, rows]).all()
    wider = equal_precision_band(REMISSION, HAPPENED, level=0.99)
    assert wider.critical > band.critical and (wider.low <= band.low).all()
    part = equal_precision_band(REMISSION, HAPPENED, start=7, end=16)
    assert part.critical < band.critical and part.time.min() >= 7


def test_a_band_needs_two_events():
    none = equal_precision_band([1, 2, 3], [0, 1, 0])
    assert np.isnan(none.critical) and none.notes
    with pytest.raises(StatisticsError):
        equal_precision_band(REMISSION, HAPPENED, start=10, end=5)


@pytest.mark.parametrize("tarone", [True, False])
def test_breslow_and_days_test_is_that_of_statsmodels(tarone):
    k, n, k_ref, n_ref = map(np.array, STRATA)
    tables = [np.array([[a, m - a], [b, o - b]], dtype=float) for a, m, b, o in zip(k, n, k_ref, n_ref, strict=True)]
    wanted = StratifiedTable(tables).test_equal_odds(adjust=tarone)
    found = breslow_day(*STRATA, tarone=tarone)
    assert_allclose([found.statistic, found.p_value], [wanted.statistic, wanted.pvalue], rtol=1e-9)


def test_strata_with_one_ratio_give_nothing_and_one_stratum_cannot_be_tested():
    assert_allclose(breslow_day([2, 4], [6, 12], [1, 2], [6, 12]).statistic, 0, atol=1e-9)
    assert np.isnan(breslow_day([2], [6], [1], [6]).p_value)
    assert np.isnan(breslow_day([0, 0], [6, 6], [1, 2], [6, 6]).p_value)


@given(st.integers(0, 40), st.integers(0, 40))
def test_jeffreys_limits_lie_within_the_exact_ones(k, more):
    inner, outer = jeffreys(k, k + more), clopper_pearson(k, k + more)
    if k + more:
        assert outer.low - 1e-12 <= inner.low <= inner.estimate <= inner.high <= outer.high + 1e-12
    else:
        assert np.isnan(inner.low) and inner.notes
