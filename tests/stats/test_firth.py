import numpy as np
import pytest
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.firth import firth_logistic

TWO_GROUPS = [[1, 1], [1, 0]]


@pytest.mark.parametrize("counts", [(5, 40, 3, 30), (0, 40, 5, 30), (3, 3, 0, 1), (7, 9, 2, 9)])
def test_two_groups_have_half_a_unit_added_to_each_cell(counts):
    """Firth D, Biometrika 1993;80:27: for a saturated table the penalty adds ½ to every cell."""
    k, n, k_ref, n_ref = counts
    found = firth_logistic([k, k_ref], [n, n_ref], TWO_GROUPS)
    odds, odds_ref = (k + 0.5) / (n - k + 0.5), (k_ref + 0.5) / (n_ref - k_ref + 0.5)
    assert found.coefficients == pytest.approx([np.log(odds_ref), np.log(odds / odds_ref)], abs=1e-6)


def test_the_limits_are_where_the_test_gives_that_p():
    """Moving the slope's zero to its limit (an offset, by hand) makes the likelihood-ratio p equal 1 − level."""
    found = firth_logistic([6, 3], [40, 30], TWO_GROUPS, level=0.9)
    assert found.low[1] < found.coefficients[1] < found.high[1]
    same = firth_logistic([6, 3], [40, 30], TWO_GROUPS, level=1 - found.p_values[1])
    nearer = same.low[1] if found.coefficients[1] > 0 else same.high[1]
    assert nearer == pytest.approx(0, abs=1e-6)


def test_limits_widen_with_the_level_and_stay_finite_in_an_empty_cell():
    narrow, wide = (firth_logistic([0, 5], [30, 40], TWO_GROUPS, level=level) for level in (0.8, 0.99))
    assert np.all(wide.low < narrow.low)
    assert np.all(wide.high > narrow.high)
    assert np.isfinite([wide.low, wide.high]).all()


def test_many_events_are_as_in_plain_logistic_regression():
    k, n, m, size = 400, 1000, 300, 1000
    found = firth_logistic([k, m], [n, size], TWO_GROUPS)
    plain = np.log(k * (size - m) / ((n - k) * m))
    half = stats.norm.ppf(0.975) * np.sqrt(1 / k + 1 / (n - k) + 1 / m + 1 / (size - m))
    assert found.coefficients[1] == pytest.approx(plain, abs=1e-3)
    assert [found.low[1], found.high[1]] == pytest.approx([plain - half, plain + half], abs=2e-3)


def test_rows_and_patterns_give_the_same():
    rows = firth_logistic([1, 1, 0, 0, 1, 0], 1, [[1, 1], [1, 1], [1, 1], [1, 0], [1, 0], [1, 0]])
    patterns = firth_logistic([2, 1], [3, 3], TWO_GROUPS)
    assert rows.coefficients == pytest.approx(patterns.coefficients, abs=1e-8)


@pytest.mark.parametrize(
    ("events", "n", "design", "said"),
    [
        ([3, 1], [2, 5], TWO_GROUPS, "more than its n"),
        ([0.5, 1], [2, 5], TWO_GROUPS, "not a whole number"),
        ([1, 1], [2, 5], [[1, 1], [1, 1]], "follows from the others"),
        ([1, 0], [2, 0], TWO_GROUPS, "a group is empty"),
        ([1, 1], [2, 5], [[1, 1]], "a row for each row"),
    ],
)
def test_what_cannot_be_fitted_is_refused(events, n, design, said):
    with pytest.raises(StatisticsError, match=said):
        firth_logistic(events, n, design)
