import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.power import TTestIndPower

from necrostats.errors import StatisticsError
from necrostats.stats.power import (
    detectable_share,
    event_free_to_exclude,
    further_event_free,
    further_in_each,
    power_of_t,
    smallest_detectable,
    upper_limit,
)


@pytest.mark.parametrize(("effect", "n"), [(0.5, 20), (0.3, 60), (0.8, 12)])
def test_the_power_of_a_t_test_is_that_of_statsmodels(effect, n):
    expected = TTestIndPower().power(effect, n, 0.05)
    assert power_of_t(effect, np.sqrt(2 / n), 2 * n - 2) == pytest.approx(expected, abs=1e-9)


def test_the_textbook_64_in_each_group_find_half_a_standard_deviation_with_80_percent():
    """Cohen 1988, table 2.4.1: d = 0.50, power .80, two-sided .05: n = 64 (from memory)."""
    assert smallest_detectable(np.sqrt(2 / 64), 126) == pytest.approx(0.5, abs=0.002)


@given(st.floats(0.01, 3.0), st.floats(1.0, 500.0), st.floats(0.1, 0.99))
def test_the_smallest_difference_found_has_just_that_power(error, df, power):
    assert power_of_t(smallest_detectable(error, df, power=power), error, df) == pytest.approx(power, abs=1e-7)


def test_59_event_free_sessions_exclude_5_percent_and_58_do_not():
    assert event_free_to_exclude(0.05) == 59
    assert upper_limit(0, 59) <= 0.05 < upper_limit(0, 58)
    assert event_free_to_exclude(0.01) == 299 and event_free_to_exclude(0.5, level=0.5) == 1


def test_the_upper_limit_of_no_event_is_worked_by_hand():
    assert upper_limit(0, 30) == pytest.approx(1 - 0.05 ** (1 / 30), abs=1e-12)
    assert upper_limit(0, 0) == 1.0 and upper_limit(3, 3) == 1.0


def test_further_event_free_units_end_just_where_the_rate_is_excluded():
    assert further_event_free(0, 0, 0.05) == 59 and further_event_free(0, 59, 0.05) == 0
    more = further_event_free(2, 40, 0.05)
    assert upper_limit(2, 40 + more) <= 0.05 < upper_limit(2, 40 + more - 1)
    assert further_event_free(50, 60, 0.0001, most=100) is None


def test_further_units_halve_the_error_when_there_are_four_times_as_many():
    """Half-width 1.96 · 0.2 = 0.392 at 10 and 10; half of it at 40 and 40."""
    assert further_in_each(0.2, 10, 10, 0.196) == 30
    assert further_in_each(0.2, 10, 10, 0.5) == 0
    assert further_in_each(0.2, 10, 10, 1e-6, most=1000) is None


@given(st.floats(0.01, 1.0), st.integers(1, 200), st.integers(1, 200), st.floats(0.05, 1.0))
def test_one_unit_fewer_would_not_do(error, one, other, half):
    more = further_in_each(error, one, other, half)
    spread = error**2 / (1 / one + 1 / other)

    def width(extra):
        return 1.959964 * np.sqrt(spread * (1 / (one + extra) + 1 / (other + extra)))

    assert more is None or width(more) <= half * (1 + 1e-6)
    assert not more or width(more - 1) >= half * (1 - 1e-6)


def test_the_detectable_share_has_that_power_by_the_same_approximation():
    share = detectable_share(0.05, 100, 100)
    error = np.sqrt((share * (1 - share) + 0.05 * 0.95) / 100)
    assert (share - 0.05) / error == pytest.approx(1.959964 + 0.841621, abs=1e-5)
    assert np.isnan(detectable_share(0.5, 1, 1)) and np.isnan(detectable_share(0.1, 0, 5))
    assert 0 < detectable_share(0.0, 50, 50) < 0.2


def test_numbers_that_no_plan_can_take_are_refused():
    for call in (
        lambda: smallest_detectable(0.1, 20, power=0.05),
        lambda: smallest_detectable(0.0, 20),
        lambda: event_free_to_exclude(0.0),
        lambda: further_in_each(0.1, 0, 5, 0.2),
        lambda: upper_limit(4, 3),
    ):
        with pytest.raises(StatisticsError):
            call()
