from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import optimize
from scipy.stats import nchypergeom_fisher

from necrostats.errors import ChoiceError, StatisticsError
from necrostats.stats.comparisons import odds_ratio


def test_the_conditional_limits_leave_two_and_a_half_percent_in_each_tail():
    """Against Fisher's non-central hypergeometric distribution, solved here by itself."""
    a, n, b, m = 8, 10, 2, 10
    found = odds_ratio(a, n, b, m)

    def tail(log_odds, low):
        seen = nchypergeom_fisher(n + m, a + b, n, np.exp(log_odds))
        return (seen.sf(a - 1) if low else seen.cdf(a)) - 0.025

    expected = [np.exp(optimize.brentq(tail, -3, 10, args=(low,))) for low in (True, False)]
    assert_allclose([found.low, found.high], expected, rtol=1e-6)


def test_an_empty_cell_leaves_the_exact_ratio_one_limit():
    none, all_ = odds_ratio(0, 10, 5, 10), odds_ratio(5, 10, 0, 10)
    assert (none.estimate, none.low) == (0, 0) and 0 < none.high < 1
    assert (all_.estimate, all_.high) == (np.inf, np.inf) and 1 < all_.low < np.inf
    assert none.notes[0].code == all_.notes[0].code == "ZERO_EVENTS"


def test_woolf_has_no_interval_with_an_empty_cell():
    found = odds_ratio(5, 10, 0, 10, method="woolf")
    assert found.estimate == np.inf and np.isnan([found.low, found.high]).all()
    assert "½ is not added" in found.notes[0].text


@pytest.mark.parametrize("method", ["conditional", "woolf"])
@pytest.mark.parametrize(
    ("table", "code"), [((0, 10, 0, 20), "ZERO_EVENTS"), ((3, 3, 2, 2), "ZERO_EVENTS"), ((0, 0, 1, 2), "SMALL_N")]
)
def test_no_contrast_gives_nothing_and_says_so(method, table, code):
    found = odds_ratio(*table, method=method)
    assert np.isnan([found.estimate, found.low, found.high]).all()
    assert [note.code for note in found.notes] == [code]


def test_one_table_at_a_time():
    with pytest.raises(StatisticsError, match="one pair of groups"):
        odds_ratio([1, 2], 4, 1, 4)
    with pytest.raises(ChoiceError, match="woolf"):
        odds_ratio(1, 4, 1, 4, method="wolf")
