"""Counts of any size: an answer at once, or a note that says that there will be none.

Each of these once ran for seconds, minutes or for ever.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import special

from necrostats import check_reported
from necrostats.stats.comparisons import (
    boschloo,
    compare_proportions,
    fisher,
    fisher_mid_p,
    odds_ratio,
    risk_difference,
    risk_ratio,
)
from necrostats.stats.proportions import blaker, clopper_pearson, jeffreys, mid_p, wilson

COUNTS = [
    (3, 10**6, 15, 10**6),
    (5 * 10**5, 10**6, 4 * 10**5, 10**6),
    (5 * 10**6, 10**7, 5 * 10**6, 10**7),
    (0, 10**9, 1, 10**9),
    (10**9, 10**9, 10**9 - 1, 10**9),
    (5 * 10**8, 10**9, 4 * 10**8, 10**9),
    (3, 10**12, 15, 10**12),
    (10**15, 2 * 10**15, 10**15 - 5, 2 * 10**15),
]


@pytest.mark.parametrize("counts", COUNTS)
@pytest.mark.parametrize("test", [fisher, fisher_mid_p, boschloo])
def test_an_exact_test_answers_at_once_or_says_that_it_will_not(counts, test):
    found = test(*counts)
    if np.isnan(found.p_value):
        assert "not computed" in found.notes[0].text
    else:
        assert 0 <= found.p_value <= 1


@pytest.mark.parametrize("counts", COUNTS)
def test_a_contrast_answers_at_once_or_says_that_it_will_not(counts):
    for contrast in (odds_ratio, risk_difference, risk_ratio, compare_proportions):
        found = contrast(*counts)
        if np.isnan([found.estimate, found.low, found.high]).any():
            assert found.notes
        else:
            assert found.low <= found.estimate <= found.high


@pytest.mark.parametrize("counts", COUNTS)
@pytest.mark.parametrize("limits", [clopper_pearson, mid_p, blaker, jeffreys, wilson])
def test_limits_of_a_share_hold_it_whatever_its_size(counts, limits):
    found = limits(*counts[:2])
    assert 0 <= found.low <= found.estimate <= found.high <= 1


def test_a_comparison_whose_exact_test_is_too_large_gives_that_as_its_reason():
    found = compare_proportions(3, 10**12, 15, 10**12)
    assert np.isnan(found.p_value) and "as large as these" in found.rule and found.notes


def test_the_conditional_odds_ratio_of_rare_events_is_that_of_the_split_of_poisson_events():
    """Where groups are endless, 3 and 15 events are a split of 18: Clopper–Pearson's limits as odds."""
    found = odds_ratio(3, 10**12, 15, 10**12)
    low, high = special.betaincinv(3, 16, 0.025), special.betaincinv(4, 15, 0.975)
    assert_allclose([found.estimate, found.low, found.high], [0.2, low / (1 - low), high / (1 - high)], rtol=1e-9)


PRINTED = [
    {"percent": "34"},
    {"percent": ">34"},
    {"percent": "<34"},
    {"p": "0.03"},
    {"p": "0.03", "test": "boschloo"},
    {"p": "0.03", "test": "fisher"},
    {"ratio": "0.5"},
    {"ratio": "0.5", "interval": ("0.4", "0.6")},
    {"difference": "0.5 %", "interval": ("0.4 %", "0.6 %")},
]


@pytest.mark.parametrize("counts", COUNTS)
@pytest.mark.parametrize("figures", PRINTED)
def test_printed_figures_of_counts_of_any_size_are_judged_at_once(counts, figures):
    k, n, k_ref, n_ref = counts
    assert check_reported(k, n, k_ref=k_ref, n_ref=n_ref, **figures).items


@pytest.mark.parametrize("n", [10**3, 10**9, 10**12, 10**15])
@pytest.mark.parametrize("percent", ["34", ">34", "<34", "33.3", "0"])
def test_a_percentage_of_any_n_is_judged_at_once(n, percent):
    assert check_reported(None, n, percent=percent).items[0].verdict == "fits"


@pytest.mark.parametrize(("more", "computed"), [(0, True), (1, False)])
def test_fishers_test_is_computed_up_to_50_million_in_all(more, computed):
    for test in (fisher, fisher_mid_p):
        assert np.isfinite(test(3, 25_000_000, 15, 25_000_000 + more).p_value) == computed


@pytest.mark.parametrize(("events", "computed"), [(24_000_000, True), (60_000_000, False)])
def test_the_conditional_odds_ratio_is_computed_up_to_100_000_tables(events, computed):
    found = odds_ratio(events, 2 * events, events, 2 * events)
    assert np.isfinite([found.estimate, found.low, found.high]).all() == computed
    assert computed or 'method "woolf"' in found.notes[0].text
