"""McNemar's tests."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from statsmodels.stats.contingency_tables import mcnemar as reference

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons.paired import METHODS, mcnemar


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
