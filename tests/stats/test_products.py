from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from necrostats.stats.event_tables import event_table
from necrostats.stats.products import event_free, incidence_shares, just_before


def test_four_subjects_worked_by_hand():
    """Cause 1 at 1, a censoring at 2, cause 2 at 3, cause 1 at 4: S ¾, ¾, ⅜, 0; F₁ ¼, ¼, ¼, ⅝."""
    table = event_table([1, 2, 3, 4], [1, 0, 2, 1])
    free = event_free(table)
    assert_allclose(free, [[3 / 4, 3 / 4, 3 / 8, 0]])
    assert_allclose(just_before(free), [[1, 3 / 4, 3 / 4, 3 / 8]])
    assert_allclose(incidence_shares(table, free)[0], [[1 / 4, 1 / 4, 1 / 4, 5 / 8], [0, 0, 3 / 8, 3 / 8]])


@settings(deadline=None, derandomize=True, max_examples=40)
@given(rows=st.lists(st.tuples(st.integers(0, 9), st.integers(0, 3)), min_size=1, max_size=30))
def test_shares_with_an_event_of_each_cause_and_without_any_add_up_to_1(rows):
    table = event_table(*np.array(rows).T)
    free = event_free(table)
    assert_allclose(free + incidence_shares(table, free).sum(axis=1), 1)
