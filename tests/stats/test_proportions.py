from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from necrostats.errors import StatisticsError
from necrostats.stats.proportions import clopper_pearson, korn_graubard, mid_p, wilson

METHODS = [clopper_pearson, mid_p, wilson]
quickly = settings(deadline=None, derandomize=True, max_examples=60)
counts = st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


def test_one_of_two_worked_by_hand():
    """Clopper–Pearson: 1 − (1 − p)² = .025 → p = 1 − √.975. Mid-P: p² + p(1 − p) = p = .025."""
    assert_allclose(clopper_pearson(1, 2).low, 1 - np.sqrt(0.975))
    found = mid_p(1, 2)
    assert_allclose([found.low, found.high], [0.025, 0.975])


@pytest.mark.parametrize("method", METHODS)
def test_no_events_start_at_exactly_0_and_all_events_end_at_exactly_1(method):
    found = method([0, 0, 5, 30], [5, 30, 5, 30])
    assert found.low[:2].tolist() == [0.0, 0.0] and found.high[2:].tolist() == [1.0, 1.0]


def test_none_of_thirty_is_compatible_with_up_to_11_6_per_cent():
    assert round(clopper_pearson(0, 30).high, 3) == 0.116


@pytest.mark.parametrize("method", METHODS)
def test_an_empty_denominator_gives_an_empty_interval_and_a_note(method):
    found = method([0, 1], [0, 2])
    assert np.isnan([found.estimate[0], found.low[0], found.high[0]]).all()
    assert np.isfinite([found.estimate[1], found.low[1], found.high[1]]).all()
    assert [note.code for note in found.notes] == ["SMALL_N"]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(("k", "n"), [(3, 2), (-1, 2), (0.5, 2), (1, 2.5), (np.nan, 2), (1, None)])
def test_counts_that_cannot_be_are_refused(method, k, n):
    with pytest.raises(StatisticsError):
        method(k, n)


@pytest.mark.parametrize("method", METHODS)
def test_numbers_give_floats_and_arrays_broadcast(method):
    assert type(method(1, 3).low) is float
    assert method([[1], [2]], [3, 4, 5]).high.shape == (2, 3)
    assert method([], []).estimate.shape == (0,)


@pytest.mark.parametrize("method", METHODS)
@quickly
@given(pair=counts, level=st.floats(0.5, 0.99))
def test_an_interval_holds_its_estimate_and_grows_with_the_level(method, pair, level):
    narrow, wide = method(*pair, level=level), method(*pair, level=level + 0.009)
    assert wide.low <= narrow.low <= narrow.estimate + 1e-12
    assert narrow.estimate - 1e-12 <= narrow.high <= wide.high


@pytest.mark.parametrize("method", METHODS)
@quickly
@given(pair=counts)
def test_events_and_non_events_mirror_each_other(method, pair):
    k, n = pair
    events, others = method(k, n), method(n - k, n)
    assert_allclose([events.low, events.high], [1 - others.high, 1 - others.low], atol=1e-12)


@quickly
@given(pair=counts, level=st.floats(0.5, 0.99))
def test_mid_p_limits_solve_their_equation_and_lie_within_the_exact_ones(pair, level):
    k, n = pair
    found, exact, tail = mid_p(k, n, level=level), clopper_pearson(k, n, level=level), (1 - level) / 2
    assert exact.low <= found.low and found.high <= exact.high
    if k > 0:
        assert_allclose(stats.binom.sf(k, n, found.low) + stats.binom.pmf(k, n, found.low) / 2, tail, rtol=1e-9)
    if k < n:
        assert_allclose(stats.binom.cdf(k - 1, n, found.high) + stats.binom.pmf(k, n, found.high) / 2, tail, rtol=1e-9)


def test_exact_and_score_limits_are_those_of_statsmodels():
    k, n = np.array([1, 7, 15, 29]), np.array([29, 30, 148, 30])
    for method, name in ((clopper_pearson, "beta"), (wilson, "wilson")):
        low, high = proportion_confint(k, n, method=name)
        found = method(k, n)
        assert_allclose([found.low, found.high], [low, high], rtol=1e-9)


def test_two_patients_worked_by_hand():
    """1 of 2 and 0 of 2: r = 1/4; 2 · (½² + ½²) / 16 = 1/16 over (3/16)/4 = 3/64 gives a design effect of 4/3."""
    found = korn_graubard([1, 0, 0, 0], 1, ["a", "a", "b", "b"])
    assert_allclose([found.std_error, found.design_effect, found.effective_n], [0.25, 4 / 3, 3])
    t_ratio = stats.t.ppf(0.975, 3) / stats.t.ppf(0.975, 1)
    assert_allclose(found.adjusted_n, 3 * t_ratio**2)


def test_rows_that_are_sums_of_a_cluster_give_the_same_as_rows_that_are_units():
    units = korn_graubard([1, 1, 0, 0, 1, 0], 1, list("aabbbc"))
    sums = korn_graubard([2, 1, 0], [2, 3, 1], list("abc"))
    assert (units.low, units.high, units.std_error) == (sums.low, sums.high, sums.std_error)


@pytest.mark.parametrize("events", [[0, 0, 0], [1, 1, 1]])
def test_without_contrast_limits_are_plain_exact_and_a_note_says_clustering_is_unknown(events):
    found, plain = korn_graubard(events, 1, list("aab")), clopper_pearson(sum(events), 3)
    assert (found.low, found.high) == (plain.low, plain.high)
    assert [note.code for note in found.notes] == ["ZERO_EVENTS"] and "cannot be estimated" in found.notes[0].text
    assert np.isnan(found.design_effect) and found.effective_n == 3


def test_a_single_cluster_gets_a_note():
    found = korn_graubard([1, 0, 0], 1, ["a", "a", "a"])
    assert [note.code for note in found.notes] == ["FEW_CLUSTERS"]
    assert found.high == clopper_pearson(1, 3).high


@pytest.mark.parametrize("rows", [([], [], []), ([0, 0], [0, 0], ["a", "b"])])
def test_nothing_counted_gives_an_empty_interval_and_a_note(rows):
    found = korn_graubard(*rows)
    assert np.isnan([found.estimate, found.low, found.high]).all()
    assert found.notes[0].code == "SMALL_N" and found.clusters == 0


def test_a_patient_without_units_is_no_cluster():
    assert korn_graubard([1, 0, 0], [2, 1, 0], list("abc")).clusters == 2


def test_a_missing_patient_label_is_refused():
    with pytest.raises(StatisticsError, match="cluster number 2"):
        korn_graubard([1, 0], 1, ["a", None])


@quickly
@given(
    rows=st.lists(st.tuples(st.booleans(), st.integers(0, 5)), min_size=4, max_size=40),
    seed=st.integers(0, 9),
)
def test_row_order_and_labels_change_nothing_and_limits_are_never_narrower_than_exact(rows, seed):
    events, label = np.array(rows, dtype=int).T
    order = np.random.default_rng(seed).permutation(len(rows))
    one = korn_graubard(events, 1, label)
    other = korn_graubard(events[order], 1, [f"patient {9 - each}" for each in label[order]])
    assert_allclose([one.low, one.high, one.std_error], [other.low, other.high, other.std_error], rtol=1e-12)
    plain = clopper_pearson(events.sum(), len(rows))
    assert one.low <= plain.low + 1e-12 and one.high >= plain.high - 1e-12
