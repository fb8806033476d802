import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from necrostats.errors import StatisticsError
from necrostats.stats.unmeasured import e_value, e_value_of_difference, e_value_of_limits


def test_the_e_values_of_the_paper():
    """VanderWeele and Ding, Ann Intern Med 2017;167:268: 3.9 (1.8 to 8.7) gives 7.26 and 3.0 (from memory)."""
    assert round(e_value(3.9), 2) == 7.26
    assert round(e_value(1.8), 1) == 3.0


def test_a_protective_ratio_counts_as_its_inverse_and_no_association_needs_nothing():
    assert e_value(1 / 3.9) == pytest.approx(e_value(3.9))
    assert e_value(1.0) == 1.0


def test_a_difference_of_one_standard_deviation_counts_as_exp_of_0_91():
    assert e_value_of_difference(2.0, 2.0) == pytest.approx(e_value(np.exp(0.91)))


def test_an_interval_that_holds_no_difference_has_1():
    assert e_value_of_limits(-0.1, 0.5, 1.0) == 1.0
    assert e_value_of_limits(0.1, 0.5, 1.0) == pytest.approx(e_value_of_difference(0.1, 1.0))
    assert e_value_of_limits(-0.5, -0.1, 1.0) == pytest.approx(e_value_of_difference(0.1, 1.0))


@pytest.mark.parametrize("ratio", (0.0, -1.0, float("nan")))
def test_what_is_no_ratio_is_refused(ratio):
    with pytest.raises(StatisticsError):
        e_value(ratio)
    with pytest.raises(StatisticsError):
        e_value_of_difference(float("nan"), 1.0)


@given(st.floats(1.0, 50.0), st.floats(1.0, 50.0))
def test_a_larger_ratio_needs_a_stronger_confounder(one, other):
    assert (e_value(one) <= e_value(other)) == (one <= other) or np.isclose(one, other)
