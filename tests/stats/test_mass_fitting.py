from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.stats.mass_fitting import Ranges, fit_masses

quickly = settings(deadline=None, derandomize=True, max_examples=60)


def _ranges(seed, size, places):
    rng = np.random.default_rng(seed)
    ends = np.sort(rng.integers(0, places, (size, 2)), axis=1)
    return Ranges(first=ends[:, 0], last=ends[:, 1], places=places), rng.integers(1, 6, size).astype(float)


def test_two_places_worked_by_hand():
    """Three observations in place 0, one in place 1, four in either: masses ¾ and ¼, log-likelihood 3 ln ¾ + ln ¼."""
    found = fit_masses(Ranges(first=np.array([0, 1, 0]), last=np.array([0, 1, 1]), places=2), np.array([3.0, 1, 4]))
    assert_allclose(found.mass, [0.75, 0.25])
    assert_allclose(found.log_likelihood, 3 * np.log(0.75) + np.log(0.25))


@quickly
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


@quickly
@given(seed=st.integers(0, 5000))
def test_from_another_start_and_with_ranges_that_nobody_has_it_is_the_same(seed):
    ranges, weights = _ranges(seed, 30, 12)
    weights[::3] = 0
    cold, warm = fit_masses(ranges, weights), fit_masses(ranges, weights, np.full(12, 1 / 12))
    assert_allclose(warm.log_likelihood, cold.log_likelihood, atol=1e-7)
    only = Ranges(first=ranges.first[weights > 0], last=ranges.last[weights > 0], places=12)
    assert_allclose(fit_masses(only, weights[weights > 0]).log_likelihood, cold.log_likelihood, atol=1e-12)
