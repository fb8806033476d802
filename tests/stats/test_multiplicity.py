import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.multitest import multipletests

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.multiplicity import adjusted_means, adjusted_p, dunnett_p, holm, tukey_p


def test_holm_is_that_of_statsmodels():
    p = [0.04, 0.001, 0.3, 0.02, 0.02, 1.0]
    assert holm(p) == pytest.approx(multipletests(p, method="holm")[1], abs=1e-15)


def test_holm_by_hand():
    """0.01 × 3, then 0.03 × 2; 0.04 × 1 may not fall below the one before it."""
    assert holm([0.04, 0.01, 0.03]) == pytest.approx([0.06, 0.03, 0.06])


def test_a_test_that_gave_no_p_is_passed_over():
    found = holm([0.02, np.nan, 0.03])
    assert np.isnan(found[1])
    assert found[[0, 2]] == pytest.approx([0.04, 0.04])
    assert holm([]).size == 0


def test_what_is_no_p_is_refused():
    with pytest.raises(StatisticsError, match="between 0 and 1"):
        holm([0.1, 1.2])


def test_four_p_values_by_each_adjustment_worked_by_hand():
    p = [0.01, 0.02, 0.03, 0.04]
    assert_allclose(adjusted_p(p, method="bonferroni"), [0.04, 0.08, 0.12, 0.16])
    assert_allclose(adjusted_p(p, method="holm"), holm(p))
    assert_allclose(adjusted_p(p, method="hochberg"), [0.04] * 4)
    assert_allclose(adjusted_p(p, method="benjamini-hochberg"), [0.04] * 4)
    assert np.isnan(adjusted_p([0.01, np.nan])[1]) and adjusted_p([0.01, np.nan])[0] == 0.01
    with pytest.raises(ChoiceError):
        adjusted_p(p, method="fdr")


def test_two_groups_need_no_adjustment():
    assert_allclose(tukey_p(2.0, 2, 10), 2 * stats.t.sf(2, 10), rtol=1e-8)
    assert_allclose(dunnett_p(2.0, [[1.0]], 10), 2 * stats.t.sf(2, 10), rtol=1e-4)
    with pytest.raises(StatisticsError):
        tukey_p(2.0, 1, 10)


def test_several_groups_against_one_are_those_of_scipy():
    rng = np.random.default_rng(0)
    groups = [rng.normal(size=n) + shift for n, shift in ((10, 0.3), (12, 0.8), (8, 1.4))]
    reference = rng.normal(size=15)
    wanted = stats.dunnett(*groups, control=reference, random_state=1)
    loading = np.sqrt([each.size / (each.size + 15) for each in groups])
    together = np.outer(loading, loading)
    np.fill_diagonal(together, 1.0)
    df = sum(each.size for each in groups) + 15 - 4
    assert_allclose(dunnett_p(wanted.statistic, together, df), wanted.pvalue, atol=2e-4)
    with pytest.raises(StatisticsError):
        dunnett_p([2.0, 1.0], [[1.0]], 10)


def test_the_five_per_cent_point_of_dunnett_is_as_tabled():
    """Dunnett 1964, table for two-sided comparisons: 3 groups, 20 degrees of freedom, 2.54 (from memory)."""
    together = np.full((3, 3), 0.5) + 0.5 * np.eye(3)
    assert_allclose(dunnett_p([2.54] * 3, together, 20), 0.05, atol=1e-3)


def test_adjusted_means_need_one_way_to_weigh():
    with pytest.raises(StatisticsError):
        adjusted_means(None, [[1.0, 2.0]])
    with pytest.raises(StatisticsError):
        adjusted_means(None, [[[1.0]]], weights=[1], counts=[1])
