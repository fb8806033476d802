from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines.fitters.npmle import npmle as lifelines_npmle
from numpy.testing import assert_allclose, assert_array_equal
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.incidence import kaplan_meier
from necrostats.stats.npmle import Ranges, fit_masses, innermost, npmle, npmle_band

quickly = settings(deadline=None, derandomize=True, max_examples=40)


def _scanned(seed, n=60):
    """Invented patients scanned every 5 to 20 days up to day 100, their true day known only between two scans."""
    rng = np.random.default_rng(seed)
    true = rng.exponential(40, n)
    scans = np.cumsum(rng.integers(5, 21, (n, 20)), axis=1)
    left = np.where(scans < true[:, None], scans, 0).max(axis=1)
    right = np.where(scans >= true[:, None], scans, 10_000).min(axis=1)
    seen = right <= 100
    return np.minimum(left, 100).astype(float), np.where(seen, right, np.inf)


@quickly
@given(time=st.lists(st.integers(0, 12), min_size=1, max_size=25), seed=st.integers(0, 99))
def test_with_exact_and_right_censored_times_it_is_kaplan_meier(time, seed):
    time = np.array(time)
    event = np.random.default_rng(seed).integers(0, 2, time.size)
    curve, found = kaplan_meier(time, event), npmle(time, np.where(event, time, np.inf))
    known = ~np.isnan(curve.estimate[0])
    bounds = found.incidence(curve.table.time[known])
    assert_allclose(bounds.least, 1 - curve.estimate[0][known], atol=1e-7)
    assert_allclose(bounds.most, bounds.least)


def test_three_ranges_worked_by_hand():
    """(0, 2], (1, 3], (4, ∞): ⅔ on (1, 2], ⅓ beyond 4; at 1.5 between 0 and ⅔, at 2 exactly ⅔."""
    found = npmle([0, 1, 4], [2, 3, np.nan])
    assert_array_equal(found.left, [1, 4])
    assert_array_equal(found.right, [2, np.inf])
    assert_allclose(found.mass, [2 / 3, 1 / 3])
    assert_allclose(found.log_likelihood, 2 * np.log(2 / 3) + np.log(1 / 3))
    bounds = found.incidence([0, 1, 1.5, 2, 4, 99])
    assert_allclose(bounds.least, [0, 0, 0, 2 / 3, 2 / 3, 2 / 3])
    assert_allclose(bounds.most, [0, 0, 2 / 3, 2 / 3, 2 / 3, 1])
    assert (found.quantile().left, found.quantile().right) == (1, 2)
    late = found.quantile(0.8)
    assert np.isnan(late.left) and [note.code for note in late.notes] == ["NOT_REACHED"]


@pytest.mark.parametrize("seed", range(3))
def test_its_likelihood_is_at_least_that_of_lifelines(seed):
    """lifelines closes its ranges; in whole days (left, right] is [left + ½, right] for it."""
    left, right = _scanned(seed)
    mass, stretches = lifelines_npmle(left + 0.5, right)
    theirs = np.array(
        [
            sum(p for p, (a, b) in zip(mass, stretches, strict=True) if low < a and b <= high)
            for low, high in zip(left, right, strict=True)
        ]
    )
    found = npmle(left, right).log_likelihood
    assert_allclose(found, np.sum(np.log(theirs)), atol=0.01)
    assert found >= np.sum(np.log(theirs)) - 1e-9


@quickly
@given(seed=st.integers(0, 500))
def test_row_order_the_unit_of_time_and_weights_for_repeated_rows_change_nothing(seed):
    left, right = _scanned(seed, n=25)
    rng = np.random.default_rng(seed)
    order, times = rng.permutation(25), rng.integers(1, 4, 25)
    one = npmle(left, right, weights=times)
    other = npmle(np.repeat(left, times), np.repeat(right, times))
    assert_allclose(one.log_likelihood, other.log_likelihood, atol=1e-8)
    moved = npmle(left[order] * 7, right[order] * 7, weights=times[order])
    assert_allclose(moved.log_likelihood, one.log_likelihood, atol=1e-8)
    assert_allclose(moved.incidence([420]).least, one.incidence([60]).least, atol=1e-4)


def test_given_multiplicities_the_band_is_of_curves_fitted_to_rows_written_out_so_often():
    left, right = _scanned(1, n=24)
    patient, times = np.repeat(np.arange(12), 2), [20, 40, 80]
    weights = np.random.default_rng(2).integers(0, 3, (40, 12)) + np.eye(40, 12, dtype=int)
    found = npmle_band(left, right, times, patient=patient, weights=weights, level=0.9)
    each = [npmle(left, right, weights=row[patient]).incidence(times) for row in weights]
    tail = stats.norm.sf(stats.t.ppf(0.95, 11) * np.sqrt(12 / 11))  # 3 %, not 5 %, for 12 patients
    assert_allclose(found.low, np.quantile([one.least for one in each], tail, axis=0), atol=1e-5)
    assert_allclose(found.high, np.quantile([one.most for one in each], 1 - tail, axis=0), atol=1e-5)


def test_where_nobody_or_everybody_has_had_the_event_there_is_no_band():
    band = npmle_band(np.arange(10, 22), np.arange(12, 24), [5, 16, 40], replicates=40)
    assert_allclose(band.least[[0, 2]], [0, 1], atol=1e-9)
    assert np.isnan([band.low[[0, 2]], band.high[[0, 2]]]).all() and band.low[1] < band.high[1]


def test_the_band_holds_the_curve_and_the_same_seed_gives_the_same_band():
    left, right = _scanned(3)
    one, two = (npmle_band(left, right, [15, 30, 60], replicates=60, random=4) for _ in range(2))
    assert_array_equal([one.low, one.high], [two.low, two.high])
    assert (one.low <= one.least).all() and (one.most <= one.high).all() and one.replicates == 60


@pytest.mark.simulation
def test_the_band_holds_a_known_truth_in_nearly_all_series():
    held = []
    for seed in range(40):
        band = npmle_band(*_scanned(seed, n=60), [40], replicates=60, random=seed)
        held.append(band.low[0] <= 1 - np.exp(-1) <= band.high[0])
    assert 34 <= sum(held) <= 40


def test_edges():
    nobody = npmle([], [])
    assert nobody.mass.size == 0 and nobody.notes[0].code == "SMALL_N"
    assert np.isnan([nobody.quantile().left, nobody.incidence([5]).least[0]]).all()
    open_ended = npmle([3, 8], [np.inf, np.nan])
    assert_array_equal([open_ended.left, open_ended.right], [[8], [np.inf]])
    assert open_ended.incidence([100]).least == 0
    few = npmle_band([3, 8], [5, 9], [6])
    assert np.isnan([few.low, few.high]).all() and few.notes[-1].code == "SMALL_N"


def test_weights_that_do_not_fit_are_refused():
    with pytest.raises(StatisticsError, match="12 columns"):
        npmle_band(np.arange(12), np.arange(12) + 5, [6], weights=[[1, 2]])
    with pytest.raises(StatisticsError, match="line up"):
        npmle([1, 2], [3, 4], weights=[1])


def test_too_few_resamples_for_the_level_of_the_band_are_said():
    left, right = _scanned(3)
    few = npmle_band(left, right, [30], replicates=30, level=0.99)
    assert "FEW_RESAMPLES" in {note.code for note in few.notes}


quickly_mass_fitting = settings(deadline=None, derandomize=True, max_examples=60)


def _ranges(seed, size, places):
    rng = np.random.default_rng(seed)
    ends = np.sort(rng.integers(0, places, (size, 2)), axis=1)
    return Ranges(first=ends[:, 0], last=ends[:, 1], places=places), rng.integers(1, 6, size).astype(float)


def test_two_places_worked_by_hand():
    """Three observations in place 0, one in place 1, four in either: masses ¾ and ¼, log-likelihood 3 ln ¾ + ln ¼."""
    found = fit_masses(Ranges(first=np.array([0, 1, 0]), last=np.array([0, 1, 1]), places=2), np.array([3.0, 1, 4]))
    assert_allclose(found.mass, [0.75, 0.25])
    assert_allclose(found.log_likelihood, 3 * np.log(0.75) + np.log(0.25))


@quickly_mass_fitting
@given(seed=st.integers(0, 5000), size=st.integers(1, 40), places=st.integers(1, 30))
def test_at_the_peak_no_place_with_mass_has_a_gradient_and_none_has_one_above_0(seed, size, places):
    ranges, weights = _ranges(seed, size, places)
    found = fit_masses(ranges, weights)
    probability = ranges.holds(np.arange(places)) @ found.mass
    gradient = ranges.holds(np.arange(places)).T @ (weights / probability) - weights.sum()
    assert found.gradient < 1e-9 and gradient.max() < 1e-8 * weights.sum()
    assert np.abs(gradient[found.mass > 1e-6]).max() < 1e-3 * weights.sum()
    assert_allclose([found.mass.sum(), found.log_likelihood], [1, weights @ np.log(probability)], atol=1e-9)
    assert (found.mass >= 0).all()


@pytest.mark.parametrize("seed", range(3))
def test_it_is_where_many_steps_of_self_consistency_lead(seed):
    ranges, weights = _ranges(seed, 25, 8)
    mass = np.full(8, 1 / 8)
    for _ in range(20_000):
        mass = mass * ranges.gathered(weights / ranges.probability(mass))
        mass = mass / mass.sum()
    em = float(weights @ np.log(ranges.probability(mass)))
    assert em - 1e-9 <= fit_masses(ranges, weights).log_likelihood <= em + 1e-3


@quickly_mass_fitting
@given(seed=st.integers(0, 5000))
def test_from_another_start_and_with_ranges_that_nobody_has_it_is_the_same(seed):
    ranges, weights = _ranges(seed, 30, 12)
    weights[::3] = 0
    cold, warm = fit_masses(ranges, weights), fit_masses(ranges, weights, np.full(12, 1 / 12))
    assert_allclose(warm.log_likelihood, cold.log_likelihood, atol=1e-7)
    only = Ranges(first=ranges.first[weights > 0], last=ranges.last[weights > 0], places=12)
    assert_allclose(fit_masses(only, weights[weights > 0]).log_likelihood, cold.log_likelihood, atol=1e-12)


quickly_innermost = settings(deadline=None, derandomize=True, max_examples=60)
ranges = st.lists(st.tuples(st.integers(0, 12), st.sampled_from([0, 1, 2, 5, np.inf])), min_size=1, max_size=15)


def _pairs(found):
    return list(zip(found.left.tolist(), found.right.tolist(), strict=True))


def test_four_ranges_worked_by_hand():
    """(0, 4], (2, 6], (5, 9] and (6, ∞): innermost (2, 4], (5, 6] and (6, 9]."""
    found = innermost([0, 2, 5, 6], [4, 6, 9, np.inf])
    assert _pairs(found) == [(2, 4), (5, 6), (6, 9)]
    assert_array_equal(found.first, [0, 0, 1, 2])
    assert_array_equal(found.last, [0, 1, 2, 2])


def test_a_right_censored_range_does_not_hold_an_event_at_its_start():
    found = innermost([5, 5], [5, np.nan])
    assert _pairs(found) == [(5, 5), (5, np.inf)]
    assert_array_equal([found.first, found.last], [[0, 1], [0, 1]])


def test_a_range_holds_an_event_at_its_end_but_not_at_its_start():
    assert _pairs(innermost([3, 1], [3, 3])) == [(3, 3)]
    assert _pairs(innermost([3, 3], [3, 6])) == [(3, 3), (3, 6)]


def test_ranges_that_touch_do_not_meet():
    assert _pairs(innermost([1, 3], [3, 5])) == [(1, 3), (3, 5)]


def _holds(left, right, inner):
    """Whether (left, right], or {left}, holds the whole of an innermost interval."""
    a, b = inner
    exact, inner_exact = left == right, a == b
    if exact:
        return inner_exact and a == left
    return (left < a if inner_exact else left <= a) and b <= right


@quickly_innermost
@given(rows=ranges)
def test_every_range_holds_the_places_it_says_and_no_others(rows):
    left = np.array([start for start, _ in rows], dtype=float)
    right = left + [width for _, width in rows]
    found = innermost(left, right)
    assert (found.first <= found.last).all()
    for row in range(left.size):
        held = [place for place, inner in enumerate(_pairs(found)) if _holds(left[row], right[row], inner)]
        assert held == list(range(found.first[row], found.last[row] + 1))


@quickly_innermost
@given(rows=ranges)
def test_no_range_starts_or_ends_inside_an_innermost_one(rows):
    left = np.array([start for start, _ in rows], dtype=float)
    right = left + [width for _, width in rows]
    for a, b in _pairs(innermost(left, right)):
        ends = np.concatenate([left, right])
        assert not ((ends > a) & (ends < b)).any()


def test_ranges_that_cannot_be_are_refused():
    with pytest.raises(StatisticsError, match="right number 2: 3 is before its left end"):
        innermost([1, 4], [2, 3])
    with pytest.raises(StatisticsError, match="left: -1 is below 0"):
        innermost([-1], [3])
    with pytest.raises(StatisticsError, match="line up"):
        innermost([1, 2], [3])
