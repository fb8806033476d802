from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError
from necrostats.stats.intervals import (
    TRANSFORMS,
    as_given,
    empty_denominators,
    few_clusters,
    limits,
    notes_on,
    places,
    rising_root,
    sign_changes,
    unbiased,
    wider,
)


def test_a_single_number_comes_back_as_a_float_and_an_array_as_an_array():
    assert type(as_given(np.array(0.5))) is float
    assert as_given(np.array([0.5])).shape == (1,)


def test_empty_denominators_are_counted_in_the_note():
    (note,) = empty_denominators(np.array([0, 3, 0]))
    assert note.code == "SMALL_N" and "2 of 3" in note.text
    assert empty_denominators(np.array([1, 2])) == ()


def test_nineteen_clusters_are_few_and_twenty_are_not():
    assert [note.code for note in few_clusters(19)] == ["FEW_CLUSTERS"]
    assert few_clusters(20) == ()


def test_labels_of_any_kind_find_their_place():
    assert places(np.array(["b", "a", "b"])).tolist() == [1, 0, 1]
    assert places(np.array(["b", 3, "b"], dtype=object)).tolist() == [1, 0, 1]


def test_notes_say_whether_clusters_are_few_only_one_or_enough():
    assert [notes_on(count) for count in (0, 20)] == [(), ()]
    assert "Only 5 clusters" in notes_on(5)[0].text
    assert "one cluster" in notes_on(1)[0].text


@pytest.mark.parametrize("name", TRANSFORMS)
def test_the_way_back_undoes_the_way_there_and_the_slope_is_its_slope(name):
    scale, p = TRANSFORMS[name], np.array([0.02, 0.3, 0.5, 0.97])
    assert_allclose(scale.back(scale.there(p)), p)
    assert_allclose(scale.slope(p), (scale.there(p + 1e-6) - scale.there(p - 1e-6)) / 2e-6, rtol=1e-5)


@pytest.mark.parametrize("name", TRANSFORMS)
@settings(deadline=None, derandomize=True, max_examples=40)
@given(p=st.floats(0.01, 0.99), error=st.floats(0, 0.3), level=st.floats(0.5, 0.98))
def test_limits_hold_the_estimate_grow_with_the_level_and_stay_within_0_and_1(name, p, error, level):
    narrow, wide = (limits(np.array([p]), np.array([error]), each, name) for each in (level, level + 0.01))
    assert 0 <= wide.low[0] <= narrow.low[0] + 1e-12 and narrow.low[0] <= p + 1e-12
    assert p - 1e-12 <= narrow.high[0] and narrow.high[0] - 1e-12 <= wide.high[0] <= 1


def test_limits_are_undefined_at_0_and_at_1():
    found = limits(np.array([0.0, 1.0]), np.array([0.0, 0.0]), 0.95, "log")
    assert np.isnan(found.low).all() and np.isnan(found.high).all()


def test_an_unknown_scale_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match=r'Did you mean "logit".*arcsin'):
        limits(np.array([0.5]), np.array([0.1]), 0.95, "logits")


def test_a_mean_of_fifteen_has_limits_worked_by_hand():
    """t on 14 is 2.14479 and the normal 1.95996; √(15/14) = 1.03510; of one value, or none, nothing can be said."""
    assert_allclose(wider(0.95, np.array([15, 10**9])), [2.14479 / 1.95996, 1], atol=1e-5)
    assert_allclose(unbiased(np.array([15, 10**9])), [1.03510, 1], atol=1e-5)
    assert np.isnan([wider(0.95, np.array([0, 1])), unbiased(np.array([0, 1]))]).all()


def test_each_row_has_its_own_root_and_bracket():
    powers = np.array([1.0, 2.0, 3.0, 7.0])
    found = sign_changes(lambda x, rows: x ** powers[rows] - 0.3, np.zeros(4), np.ones(4))
    assert_allclose(found, 0.3 ** (1 / powers), rtol=1e-14)


def test_a_jump_is_found_where_it_is():
    found = sign_changes(lambda x, rows: np.where(x < 0.7, -1.0, 2.0), np.zeros(1), np.ones(1))
    assert_allclose(found, 0.7, rtol=1e-14)


def test_a_bracket_of_one_sign_gives_its_end_nearer_to_zero():
    assert sign_changes(lambda x, rows: x + 1, np.zeros(1), np.ones(1)).tolist() == [0.0]
    assert sign_changes(lambda x, rows: x - 2, np.zeros(1), np.ones(1)).tolist() == [1.0]


def test_no_rows_are_no_trouble():
    assert sign_changes(lambda x, rows: x, np.zeros(0), np.ones(0)).size == 0


def test_a_rising_function_meets_zero_even_where_newton_would_leave_the_bracket():
    targets = np.array([0.1, 0.5, 0.999])
    found = rising_root(
        lambda x: np.arctan(50 * (x - targets)), lambda x: 50 / (1 + (50 * (x - targets)) ** 2), np.zeros(3), np.ones(3)
    )
    assert_allclose(found, targets, rtol=0, atol=1e-12)
