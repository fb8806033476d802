import numpy as np
import pytest
from scipy import stats

from necrostats.errors import StatisticsError
from necrostats.stats.means import mean, mean_difference


def test_the_mean_of_four_numbers_worked_by_hand():
    """1, 2, 3, 6: mean 3, standard deviation 2.1602, error 1.0801, t(3) 3.1824."""
    found = mean([1, 2, 3, 6])
    assert (found.estimate, found.low, found.high) == pytest.approx((3, -0.43746, 6.43746), abs=5e-5)


def test_the_difference_has_the_limits_of_welch():
    draw = np.random.default_rng(3)
    one, two = draw.normal(2, 1, 12), draw.normal(0, 4, 30)
    interval = stats.ttest_ind(one, two, equal_var=False).confidence_interval(0.9)
    found = mean_difference(one, two, level=0.9)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))
    assert found.estimate == pytest.approx(one.mean() - two.mean())


@pytest.mark.parametrize("values", [[], [4], [2, 2, 2]])
def test_without_spread_there_are_no_limits_and_a_note_says_so(values):
    for found in (mean(values), mean_difference(values, values)):
        assert np.isnan(found.low) and np.isnan(found.high)
        assert found.notes[0].code == "SMALL_N"


def test_a_missing_value_is_refused():
    with pytest.raises(StatisticsError):
        mean([1, np.nan])


def test_a_mean_of_fewer_than_twenty_values_carries_a_note():
    values = np.random.default_rng(3).geometric(0.3, 20)
    assert mean(values).notes == ()
    (note,) = mean(values[1:]).notes
    assert note.code == "SMALL_N" and "Only 19 values" in note.text
