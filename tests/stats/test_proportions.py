from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from necrostats.errors import StatisticsError
from necrostats.stats.proportions import (
    blaker,
    clopper_pearson,
    distinct_pairs,
    exact_limits,
    korn_graubard,
    mid_p,
    wilson,
)

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


LARGEST = 60
N, K = (grid.ravel() for grid in np.meshgrid(np.arange(1, LARGEST + 1), np.arange(LARGEST + 1), indexing="ij"))
N, K = N[K <= N], K[K <= N]


def _acceptability(k, n, p):
    """Blaker's function as defined, one number at a time: the smaller tail and the largest opposite one within it."""
    pmf = stats.binom.pmf(np.arange(n + 1), n, p)
    below, above = np.cumsum(pmf), np.cumsum(pmf[::-1])[::-1]
    seen = min(below[k], above[k])
    opposite = above[above <= seen * (1 + 1e-12)] if below[k] <= above[k] else below[below <= seen * (1 + 1e-12)]
    return min(1.0, seen + opposite.max(initial=0.0))


def _worst_coverage(method, n, level):
    """The least coverage over shares just inside and outside every limit, where it has its minima."""
    limits = method(np.arange(n + 1), n, level=level)
    edges = np.concatenate([limits.low, limits.high])
    shares = np.unique(np.clip(np.concatenate([edges - 1e-9, edges + 1e-9, [0.5]]), 1e-6, 1 - 1e-6))[:, None]
    held = (limits.low <= shares) & (shares <= limits.high)
    return np.min(np.sum(stats.binom.pmf(np.arange(n + 1), n, shares) * held, axis=1))


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
def test_it_lies_inside_clopper_pearson_for_every_count_up_to_60(level):
    inner, outer = blaker(K, N, level=level), clopper_pearson(K, N, level=level)
    assert np.all((outer.low <= inner.low) & (inner.high <= outer.high))
    assert np.all((inner.low <= inner.estimate) & (inner.estimate <= inner.high))


@pytest.mark.parametrize("method", [blaker, clopper_pearson])
def test_coverage_is_95_percent_or_more_for_every_n_up_to_60(method):
    assert min(_worst_coverage(method, n, 0.95) for n in range(1, LARGEST + 1)) >= 0.95 - 1e-8


def test_it_is_shorter_than_clopper_pearson_somewhere_at_every_n_and_never_longer():
    inner, outer = blaker(K, N), clopper_pearson(K, N)
    saved = (outer.high - outer.low) - (inner.high - inner.low)
    assert saved.min() >= -1e-12
    assert all(saved[n == N].max() > 1e-3 for n in range(1, LARGEST + 1))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.data(), st.integers(1, 80), st.sampled_from([0.8, 0.95, 0.99]))
def test_every_share_below_the_lower_limit_is_refused_and_the_limit_is_accepted(draw, n, level):
    k = draw.draw(st.integers(1, n))
    low = blaker(k, n, level=level).low
    below = np.linspace(0, low, 400, endpoint=False)[1:]
    assert max(_acceptability(k, n, p) for p in below) <= 1 - level + 1e-9
    assert _acceptability(k, n, min(low * (1 + 1e-9), 1.0)) >= 1 - level - 1e-6


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.data(), st.integers(1, 2000))
def test_no_events_and_all_events_are_mirror_images_and_limits_widen_with_the_level(draw, n):
    k = draw.draw(st.integers(0, n))
    here, there, wider = blaker(k, n), blaker(n - k, n), blaker(k, n, level=0.99)
    assert_allclose([here.low, here.high], [1 - there.high, 1 - there.low], atol=1e-12)
    assert wider.low <= here.low <= here.high <= wider.high


def test_repeated_pairs_and_shapes_come_back_in_place():
    found = blaker([[1, 2], [1, 0]], [[10, 10], [10, 0]])
    assert found.low.shape == (2, 2)
    assert found.low[0, 0] == found.low[1, 0] == blaker(1, 10).low
    assert np.isnan(found.low[1, 1]) and found.notes[0].code == "SMALL_N"


def test_nothing_in_gives_nothing_out():
    assert blaker([], []).low.shape == (0,)


def test_more_events_than_n_are_refused():
    with pytest.raises(StatisticsError, match="more than its n"):
        blaker(3, 2)


def test_each_limit_leaves_the_tail_it_was_asked_for():
    low, high = exact_limits(np.array([3.0]), np.array([20.0]), 0.025)
    assert stats.binom.sf(2, 20, low[0]) == pytest.approx(0.025, abs=1e-12)
    assert stats.binom.cdf(3, 20, high[0]) == pytest.approx(0.025, abs=1e-12)


def test_the_ends_are_exactly_0_and_1():
    low, high = exact_limits(np.array([0.0, 7.0]), np.array([7.0, 7.0]), 0.025)
    assert (low[0], high[1]) == (0.0, 1.0)


def test_every_row_finds_its_own_pair():
    k, n = np.array([[1.0, 0.0], [1.0, 2.0]]), np.array([[3.0, 3.0], [3.0, 2.0]])
    pairs = distinct_pairs(k, n)
    assert pairs.k.size == 3
    assert np.array_equal(pairs.spread(pairs.k), k) and np.array_equal(pairs.spread(pairs.n), n)
