from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import approx_fprime

from necrostats.stats.cox import risk_sets
from necrostats.stats.partial_likelihood import likelihood, scores


def _rows(seed, ties, n=30):
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.4, rng.integers(1, 5, n), 0)
    return risk_sets(
        entry + rng.integers(1, 8, n), rng.integers(0, 2, n), rng.normal(size=(n, 2)), entry=entry,
        strata=rng.integers(0, 3, n), ties=ties,
    )[0]  # fmt: skip


@pytest.mark.parametrize("ties", ["efron", "breslow"])
@pytest.mark.parametrize("seed", range(3))
def test_slope_and_information_are_those_of_the_height_and_scores_add_up_to_the_slope(seed, ties):
    rows, beta = _rows(seed, ties), np.array([0.4, -0.7])
    at = likelihood(rows, beta)
    assert_allclose(at.slope, approx_fprime(beta, lambda each: likelihood(rows, each).height, 1e-6), atol=1e-4)
    for k in range(2):
        bend = approx_fprime(beta, lambda each, k=k: likelihood(rows, each).slope[k], 1e-6)
        assert_allclose(-at.information[k], bend, atol=1e-4)
    assert_allclose(scores(rows, beta).sum(axis=0), at.slope, atol=1e-10)


def test_two_tied_events_of_three_worked_by_hand():
    """Both die together with no effect: Breslow −2 ln 3; Efron −ln 3 − ln (3 − ½ · 2) = −ln 6."""
    for ties, height in (("breslow", -2 * np.log(3)), ("efron", -np.log(6))):
        rows, _ = risk_sets([1, 1, 2], [1, 1, 0], [1, 2, 4], entry=None, strata=None, ties=ties)
        assert_allclose(likelihood(rows, np.zeros(1)).height, height)
