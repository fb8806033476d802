import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import StatisticsError
from necrostats.stats.clustered import least_squares, within_groups


def _sample(seed=0, groups=8, size=4):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(groups), size)
    x = np.column_stack([np.ones(group.size), rng.normal(size=group.size)])
    return x @ [1.0, 0.5] + rng.normal(size=groups)[group] + rng.normal(size=group.size), x, group


def test_clusters_of_one_row_and_a_mean_have_the_plain_error():
    """CR2 with every row its own cluster is HC2, which for a mean is s/√n with n − 1 degrees of freedom."""
    y = np.random.default_rng(1).normal(size=12)
    found = least_squares(y, np.ones((12, 1)), np.arange(12)).contrast([1.0])
    assert found.error == pytest.approx(y.std(ddof=1) / np.sqrt(12)) and found.df == pytest.approx(11)


def test_the_mean_of_equal_clusters_has_the_error_of_the_means_of_clusters():
    y, _, group = _sample()
    means = y.reshape(8, 4).mean(axis=1)
    found = least_squares(y, np.ones((y.size, 1)), group).contrast([1.0])
    assert found.error == pytest.approx(means.std(ddof=1) / np.sqrt(8)) and found.df == pytest.approx(7)


def test_effects_of_groups_give_what_an_indicator_for_each_gives():
    y, x, group = _sample(2)
    dummies = (group[:, None] == np.arange(8)).astype(float)
    expected = np.linalg.lstsq(np.column_stack([x[:, 1:], dummies]), y)[0][0]
    found = within_groups(y, x[:, 1:], group)
    assert found.coefficient[0] == pytest.approx(expected)
    left = y - np.column_stack([x[:, 1:], dummies]) @ np.linalg.lstsq(np.column_stack([x[:, 1:], dummies]), y)[0]
    assert found.residual == pytest.approx(np.sqrt(left @ left / (y.size - 9)))


def test_one_cluster_dependent_columns_and_no_spread_have_a_defined_answer():
    y, x, group = _sample()
    one = least_squares(y, x, np.zeros(y.size))
    assert np.isnan(one.contrast([0, 1]).error) and one.notes[0].code == "FEW_CLUSTERS"
    twice = least_squares(y, np.column_stack([x, x[:, 1]]), group)
    assert twice.notes[0].code == "SINGULAR" and np.isnan(twice.coefficient).all()
    flat = least_squares(np.full(y.size, 3.0), x, group).contrast([1, 0])
    assert flat.estimate == pytest.approx(3.0) and np.isnan(flat.low)
    with pytest.raises(StatisticsError):
        least_squares([1.0, np.nan], np.ones((2, 1)), [0, 1])


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_the_order_of_rows_and_the_labels_change_nothing_and_a_wider_level_is_wider(seed):
    y, x, group = _sample(seed)
    found = least_squares(y, x, group).contrast([0, 1])
    order = np.random.default_rng(seed).permutation(y.size)
    again = least_squares(y[order], x[order], np.array(list("hgfedcba"))[group][order]).contrast([0, 1])
    assert (again.error, again.df) == (pytest.approx(found.error), pytest.approx(found.df))
    wide = least_squares(y, x, group, level=0.99).contrast([0, 1])
    assert wide.low < found.low < found.estimate < found.high < wide.high
