from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.gee import firth_logistic, logit_gee

RNG = np.random.default_rng(5)
CLUSTER = np.repeat(np.arange(30), 4)
OUTCOME = RNG.binomial(1, 0.3, CLUSTER.size)
GROUP = (CLUSTER % 2).astype(float)
DESIGN = np.column_stack([np.ones(CLUSTER.size), GROUP])


def test_two_groups_have_the_crude_odds_ratio_where_clusters_are_equally_large():
    found = logit_gee(OUTCOME, DESIGN, CLUSTER)
    odds = [np.mean(OUTCOME[side]) / (1 - np.mean(OUTCOME[side])) for side in (GROUP == 1, GROUP == 0)]
    assert found.coefficients[1] == pytest.approx(np.log(odds[0] / odds[1]), abs=1e-6)
    assert (found.clusters, found.degrees_of_freedom) == (30, 28)


def test_bias_reduced_errors_are_larger_than_robust_ones():
    reduced, robust = (logit_gee(OUTCOME, DESIGN, CLUSTER, errors=kind) for kind in ("bias-reduced", "robust"))
    assert np.all(reduced.std_errors > robust.std_errors)


def test_order_and_labels_change_nothing():
    order = RNG.permutation(CLUSTER.size)
    plain = logit_gee(OUTCOME, DESIGN, CLUSTER)
    other = logit_gee(OUTCOME[order], DESIGN[order], [f"patient {each}" for each in CLUSTER[order]])
    assert other.coefficients == pytest.approx(plain.coefficients, abs=1e-8)
    assert other.std_errors == pytest.approx(plain.std_errors, abs=1e-8)


def test_few_clusters_are_said():
    small = CLUSTER < 12
    found = logit_gee(OUTCOME[small], DESIGN[small], CLUSTER[small])
    assert [note.code for note in found.notes] == ["FEW_CLUSTERS"]


def test_a_fit_that_does_not_settle_is_not_shown():
    outcome, group = np.array([0, 0, 0, 1, 1, 0]), np.array([0, 0, 0, 1, 1, 1])
    found = logit_gee(outcome, np.column_stack([np.ones(6), group]), [1, 1, 2, 3, 4, 5])
    assert np.isnan(found.coefficients).all()
    assert [note.code for note in found.notes] == ["NOT_CONVERGED"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"outcome": np.full(CLUSTER.size, 2)}, "neither 0 nor 1"),
        ({"design": np.ones((CLUSTER.size, 2))}, "follows from the others"),
        ({"cluster": np.zeros(CLUSTER.size)}, "more clusters"),
        ({"cluster": [None, *CLUSTER[1:]]}, "missing"),
    ],
)
def test_what_cannot_be_fitted_is_refused(change, said):
    given = {"outcome": OUTCOME, "design": DESIGN, "cluster": CLUSTER} | change
    with pytest.raises(StatisticsError, match=said):
        logit_gee(**given)


def test_an_unknown_structure_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="exchangeable"):
        logit_gee(OUTCOME, DESIGN, CLUSTER, structure="ar1")


TWO_GROUPS = [[1, 1], [1, 0]]


@pytest.mark.parametrize("counts", [(5, 40, 3, 30), (0, 40, 5, 30), (3, 3, 0, 1), (7, 9, 2, 9)])
def test_two_groups_have_half_a_unit_added_to_each_cell(counts):
    """Firth D, Biometrika 1993;80:27: for a saturated table the penalty adds ½ to every cell."""
    k, n, k_ref, n_ref = counts
    found = firth_logistic([k, k_ref], [n, n_ref], TWO_GROUPS)
    odds, odds_ref = (k + 0.5) / (n - k + 0.5), (k_ref + 0.5) / (n_ref - k_ref + 0.5)
    assert found.coefficients == pytest.approx([np.log(odds_ref), np.log(odds / odds_ref)], abs=1e-6)


def test_the_limits_are_where_the_test_gives_that_p():
    """Moving the slope's zero to its limit (an offset, by hand) makes the likelihood-ratio p equal 1 − level."""
    found = firth_logistic([6, 3], [40, 30], TWO_GROUPS, level=0.9)
    assert found.low[1] < found.coefficients[1] < found.high[1]
    same = firth_logistic([6, 3], [40, 30], TWO_GROUPS, level=1 - found.p_values[1])
    nearer = same.low[1] if found.coefficients[1] > 0 else same.high[1]
    assert nearer == pytest.approx(0, abs=1e-6)


def test_limits_widen_with_the_level_and_stay_finite_in_an_empty_cell():
    narrow, wide = (firth_logistic([0, 5], [30, 40], TWO_GROUPS, level=level) for level in (0.8, 0.99))
    assert np.all(wide.low < narrow.low)
    assert np.all(wide.high > narrow.high)
    assert np.isfinite([wide.low, wide.high]).all()


def test_many_events_are_as_in_plain_logistic_regression():
    k, n, m, size = 400, 1000, 300, 1000
    found = firth_logistic([k, m], [n, size], TWO_GROUPS)
    plain = np.log(k * (size - m) / ((n - k) * m))
    half = stats.norm.ppf(0.975) * np.sqrt(1 / k + 1 / (n - k) + 1 / m + 1 / (size - m))
    assert found.coefficients[1] == pytest.approx(plain, abs=1e-3)
    assert [found.low[1], found.high[1]] == pytest.approx([plain - half, plain + half], abs=2e-3)


def test_rows_and_patterns_give_the_same():
    rows = firth_logistic([1, 1, 0, 0, 1, 0], 1, [[1, 1], [1, 1], [1, 1], [1, 0], [1, 0], [1, 0]])
    patterns = firth_logistic([2, 1], [3, 3], TWO_GROUPS)
    assert rows.coefficients == pytest.approx(patterns.coefficients, abs=1e-8)


@pytest.mark.parametrize(
    ("events", "n", "design", "said"),
    [
        ([3, 1], [2, 5], TWO_GROUPS, "more than its n"),
        ([0.5, 1], [2, 5], TWO_GROUPS, "not a whole number"),
        ([1, 1], [2, 5], [[1, 1], [1, 1]], "follows from the others"),
        ([1, 0], [2, 0], TWO_GROUPS, "a group is empty"),
        ([1, 1], [2, 5], [[1, 1]], "a row for each row"),
    ],
)
def test_what_cannot_be_fitted_is_refused_firth(events, n, design, said):
    with pytest.raises(StatisticsError, match=said):
        firth_logistic(events, n, design)
