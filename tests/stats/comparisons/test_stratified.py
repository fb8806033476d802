from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from statsmodels.stats.contingency_tables import StratifiedTable
from statsmodels.stats.contingency_tables import mcnemar as reference

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import mantel_haenszel, odds_ratio
from necrostats.stats.comparisons.stratified import METHODS, mcnemar

STRATA = ([5, 8, 2, 4], [7, 11, 3, 20], [10, 12, 9, 7], [28, 32, 23, 22])


def test_ratio_limits_and_uncorrected_p_are_those_of_another_implementation():
    a, n, b, m = map(np.array, STRATA)
    tables = StratifiedTable(np.array([[a, n - a], [b, m - b]], dtype=float))
    found = mantel_haenszel(*STRATA, continuity=False)
    low, high = tables.oddsratio_pooled_confint()
    assert_allclose([found.estimate, found.low, found.high], [tables.oddsratio_pooled, low, high], rtol=1e-9)
    assert_allclose(found.p_value, tables.test_null_odds().pvalue, rtol=1e-9)


def test_one_stratum_gives_the_cross_product_ratio():
    found, alone = mantel_haenszel(8, 10, 2, 10), odds_ratio(8, 10, 2, 10, method="woolf")
    assert found.estimate == pytest.approx(alone.estimate)
    assert_allclose([found.low, found.high], [alone.low, alone.high], rtol=1e-9)


def test_strata_that_say_nothing_change_nothing_and_are_counted():
    with_silent = [np.append(each, more) for each, more in zip(STRATA, ([0, 0], [9, 0], [0, 3], [9, 5]), strict=True)]
    found, plain = mantel_haenszel(*with_silent), mantel_haenszel(*STRATA)
    for name in ("estimate", "low", "high", "p_value"):
        assert getattr(found, name) == getattr(plain, name)
    assert "2 of 6 strata" in found.notes[0].text and not plain.notes


def test_the_name_of_the_test_says_whether_it_was_corrected():
    assert "with continuity" in mantel_haenszel(*STRATA).test
    assert "without continuity" in mantel_haenszel(*STRATA, continuity=False).test
    assert mantel_haenszel(*STRATA).p_value > mantel_haenszel(*STRATA, continuity=False).p_value


def test_nothing_but_silent_strata_gives_nothing_and_says_so():
    found = mantel_haenszel([0, 0], [5, 0], [0, 1], [5, 4])
    assert np.isnan([found.estimate, found.low, found.high, found.p_value]).all()
    assert found.notes[0].code == "ZERO_EVENTS"


def test_no_events_in_one_group_anywhere_leave_a_ratio_without_limits():
    none, all_ = mantel_haenszel([0, 0], [5, 6], [3, 2], [5, 6]), mantel_haenszel([3, 2], [5, 6], [0, 0], [5, 6])
    assert none.estimate == 0 and all_.estimate == np.inf
    assert np.isnan([none.low, none.high, all_.low, all_.high]).all()
    assert none.notes[-1].code == "ZERO_EVENTS" and 0 < none.p_value < 1


def test_one_against_five_worked_by_hand():
    """2 × (1 + 6) / 64, less 6 / 64 for mid-P; χ² (5 − 1)² / 6 and (|5 − 1| − 1)² / 6."""
    assert_allclose(mcnemar(1, 5).p_value, 14 / 64)
    assert_allclose(mcnemar(1, 5, method="mid-P").p_value, 8 / 64)
    assert_allclose(mcnemar(1, 5, method="uncorrected").statistic, 16 / 6)
    assert_allclose(mcnemar(1, 5, method="corrected").statistic, 9 / 6)


@pytest.mark.parametrize("counts", [(3, 9), (12, 30), (0, 4)])
def test_the_exact_and_the_corrected_test_are_those_of_statsmodels(counts):
    b, c = counts
    table = [[0, b], [c, 0]]
    assert_allclose(mcnemar(b, c).p_value, reference(table, exact=True).pvalue, rtol=1e-9)
    assert_allclose(mcnemar(b, c, method="corrected").p_value, reference(table, exact=False).pvalue, rtol=1e-9)


@pytest.mark.parametrize("method", METHODS)
def test_nobody_changed_and_as_many_each_way(method):
    assert np.isnan(mcnemar(0, 0, method=method).p_value) and mcnemar(0, 0, method=method).notes
    assert mcnemar(4, 4, method=method).p_value > 0.8
    assert_allclose(mcnemar(2, 7, method=method).p_value, mcnemar(7, 2, method=method).p_value, rtol=1e-12)


def test_wrong_arguments_are_refused():
    with pytest.raises(ChoiceError):
        mcnemar(1, 2, method="bowker")
    with pytest.raises(StatisticsError):
        mcnemar([1, 2], 3)
