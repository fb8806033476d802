from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import StatisticsError
from necrostats.stats.permutation import permute_within

VALUES = np.array([3.0, 1.0, 5.0, 2.0, 4.5, 1.5, 2.5, 0.5])
LABEL = np.array([1, 0, 1, 0, 1, 0, 1, 0])
GROUPS = np.repeat([0, 1, 2, 3], 2)


def test_it_agrees_with_every_exchange_worked_out():
    """Four pairs: 16 ways to exchange, in two of which every labelled value is the larger or the smaller one."""
    sums = [
        sum((VALUES[2 * pair + (not keep)] - VALUES[2 * pair : 2 * pair + 2].mean()) for pair, keep in enumerate(ways))
        for ways in product((True, False), repeat=4)
    ]
    exact = np.mean(np.abs(sums) >= abs(sums[0]) - 1e-9)
    found = permute_within(VALUES, LABEL, GROUPS)
    assert exact == 2 / 16 and found.p_value == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / 9999))
    assert found.statistic == pytest.approx(sums[0]) and found.groups == 4


def test_groups_with_one_kind_of_label_say_nothing():
    more = permute_within(np.append(VALUES, [9.0, 8.0]), np.append(LABEL, [1, 1]), np.append(GROUPS, [7, 7]))
    assert more == permute_within(VALUES, LABEL, GROUPS)
    alone = permute_within(VALUES, np.ones(8), GROUPS)
    assert np.isnan(alone.p_value) and alone.groups == 0
    assert np.isnan(permute_within([], [], []).p_value)


def test_what_is_no_label_is_refused():
    with pytest.raises(StatisticsError, match="neither 0 nor 1"):
        permute_within([1.0, 2.0], [0, 2], [0, 0])


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 1000), st.floats(-5, 5), st.floats(0.1, 5))
def test_shift_scale_and_order_change_nothing(seed, shift, scale):
    rng = np.random.default_rng(seed)
    values, label, groups = rng.normal(size=30), rng.integers(0, 2, 30), rng.integers(0, 8, 30)
    order = rng.permutation(30)
    found = permute_within(values, label, groups, replicates=199)
    again = permute_within((scale * values + shift)[order], label[order], groups[order], replicates=199)
    assert again.p_value == pytest.approx(found.p_value, nan_ok=True)
