from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from necrostats.stats.curve_tests import Scores, chi_squared_of, tables_by_stratum

GROUPS = np.array(["a", "b", "c"])


def _scores(covariance, gap=(2.0, -1.0, -1.0)):
    expected = np.array([5.0, 5.0, 5.0])
    return Scores(observed=expected + gap, expected=expected, covariance=np.array(covariance, dtype=float))


def test_the_quadratic_form_worked_by_hand():
    """Gaps 2 and −1, covariance [[2, −1], [−1, 2]]: its inverse is [[2, 1], [1, 2]] / 3, so χ² = (8 − 4 + 2) / 3."""
    covariance = [[2, -1, -1], [-1, 2, -1], [-1, -1, 2]]
    found = chi_squared_of("test", GROUPS, _scores(covariance), np.ones(3, dtype=bool), 15.0)
    assert_allclose([found.statistic, found.p_value], [2, stats.chi2.sf(2, 2)])
    assert found.degrees_of_freedom == 2 and found.notes == ()


def test_a_covariance_of_lower_rank_takes_fewer_degrees_of_freedom():
    found = chi_squared_of("test", GROUPS, _scores(np.diag([2, 0, 0]), gap=(2, 0, -2)), np.ones(3, dtype=bool), 15.0)
    assert_allclose(found.statistic, 2)
    assert found.degrees_of_freedom == 1


def test_scores_add_up_over_strata():
    both = _scores(np.eye(3)) + _scores(2 * np.eye(3))
    assert_allclose(both.covariance, 3 * np.eye(3))
    assert_allclose(both.observed - both.expected, [4, -2, -2])


def test_every_stratum_has_a_table_with_all_groups_and_causes():
    tables = tables_by_stratum(
        [1, 2, 3], [1, 2, 0], group=["a", "b", "a"], groups=None, strata=["x", "y", "x"], entry=[0, 1, 0]
    )
    assert len(tables) == 2
    for each in tables:
        assert_array_equal(each.groups, ["a", "b"])
        assert_array_equal(each.causes, [1, 2])
