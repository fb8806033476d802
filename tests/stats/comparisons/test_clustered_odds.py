import re

import numpy as np
import pytest

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons.clustered_odds import clustered_odds_ratio
from necrostats.stats.gee import logit_gee


def _units(events, n, events_ref, n_ref, per_cluster=2):
    outcome = np.r_[np.arange(n) < events, np.arange(n_ref) < events_ref].astype(int)
    group = np.r_[np.ones(n), np.zeros(n_ref)].astype(int)
    cluster = np.r_[np.arange(n) // per_cluster, 1000 + np.arange(n_ref) // per_cluster]
    return outcome, group, cluster


def test_enough_events_are_compared_by_estimating_equations():
    units = _units(12, 60, 7, 60)
    found = clustered_odds_ratio(*units)
    fit = logit_gee(units[0], np.column_stack([np.ones(120), units[1]]), units[2])
    assert found.estimate == pytest.approx(np.exp(fit.coefficients[1]))
    assert (found.low, found.high) == pytest.approx((np.exp(fit.low[1]), np.exp(fit.high[1])))
    assert found.rule.startswith("Estimating equations")
    assert np.isfinite(found.statistic)


@pytest.mark.parametrize(("counts", "why"), [((4, 60, 9, 60), r"fewer than 5 events \(4\)"), ((0, 60, 9, 60), "empty")])
def test_few_events_or_an_empty_cell_are_compared_by_penalised_likelihood(counts, why):
    found = clustered_odds_ratio(*_units(*counts))
    k, n, m, size = counts
    assert found.estimate == pytest.approx((k + 0.5) * (size - m + 0.5) / ((n - k + 0.5) * (m + 0.5)), rel=1e-6)
    assert found.low < found.estimate < found.high < np.inf
    assert re.search(why, found.rule)
    assert "CLUSTER_IGNORED" in {note.code for note in found.notes}
    assert ("SEPARATION" in {note.code for note in found.notes}) == (k == 0)


@pytest.mark.parametrize(
    ("counts", "code"), [((0, 20, 0, 20), "ZERO_EVENTS"), ((20, 20, 20, 20), "ZERO_EVENTS"), ((0, 0, 5, 20), "SMALL_N")]
)
def test_nothing_to_compare_is_an_empty_answer_with_a_note(counts, code):
    found = clustered_odds_ratio(*_units(*counts))
    assert np.isnan([found.estimate, found.low, found.high, found.p_value]).all()
    assert [note.code for note in found.notes] == [code]


def test_a_group_of_one_cluster_is_not_compared():
    outcome, group, cluster = _units(6, 20, 8, 60)
    found = clustered_odds_ratio(outcome, group, np.where(group == 1, 0, cluster))
    assert np.isnan(found.estimate)
    assert [note.code for note in found.notes] == ["FEW_CLUSTERS"]


def test_a_model_can_be_asked_for_by_name():
    units = _units(4, 60, 9, 60)
    found = clustered_odds_ratio(*units, test="gee")
    assert "SMALL_N" in {note.code for note in found.notes}
    assert found.test != clustered_odds_ratio(*units).test
    with pytest.raises(StatisticsError, match="firth"):
        clustered_odds_ratio(*_units(0, 60, 9, 60), test="gee")
    with pytest.raises(ChoiceError, match="gee, firth"):
        clustered_odds_ratio(*units, test="wald")
