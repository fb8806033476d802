import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from necrostats.errors import StatisticsError
from necrostats.stats.unmeasured import e_value, e_value_of_difference


def test_a_difference_of_one_standard_deviation_counts_as_exp_of_0_91():
    """VanderWeele and Ding, Ann Intern Med 2017;167:268 (from memory)."""
    found, expected = e_value_of_difference(2.0, 1.0, 3.0, 2.0), e_value(*np.exp([0.91, 0.455, 1.365]))
    assert (found.estimate, found.limit) == (pytest.approx(expected.estimate), pytest.approx(expected.limit))


def test_an_interval_that_holds_no_difference_has_1_and_a_sign_does_not_matter():
    assert e_value_of_difference(0.2, -0.1, 0.5, 1.0).limit == 1.0
    assert e_value_of_difference(-0.3, -0.5, -0.1, 1.0).limit == pytest.approx(
        e_value_of_difference(0.3, 0.1, 0.5, 1.0).limit
    )


def test_no_spread_and_no_number_are_refused():
    for given_ in ((1.0, 0.5, 1.5, 0.0), (float("nan"), 0.5, 1.5, 1.0)):
        with pytest.raises(StatisticsError):
            e_value_of_difference(*given_)


@given(st.floats(0.01, 3.0), st.floats(0.01, 3.0))
def test_a_larger_difference_needs_a_stronger_confounder(one, other):
    first, second = (e_value_of_difference(each, 0.0, 4.0, 1.0).estimate for each in (one, other))
    assert (first <= second) == (one <= other) or np.isclose(first, second)
