import numpy as np
import pytest

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.gee import logit_gee

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
