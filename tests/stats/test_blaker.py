from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.blaker import blaker
from necrostats.stats.proportions import clopper_pearson

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
