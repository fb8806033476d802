from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.present.pen import spread

PLACES = st.lists(st.floats(0, 2.5), min_size=1, max_size=6)


def test_labels_that_do_not_touch_stay_where_they_are():
    assert spread([0.2, 1.0, 2.0], [0.2, 0.2, 0.2], 0, 2.5) == [0.2, 1.0, 2.0]


def test_two_labels_at_one_place_move_apart_evenly():
    assert spread([1.0, 1.0], [0.2, 0.2], 0, 2.5) == pytest.approx([0.9, 1.1])


@given(wanted=PLACES)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_no_two_labels_lie_on_each_other_or_leave_the_panel(wanted):
    size = 0.2
    centres = sorted(spread(wanted, [size] * len(wanted), 0, 2.5))
    assert all(b - a >= size - 1e-9 for a, b in pairwise(centres))
    assert centres[0] >= size / 2 - 1e-9
    assert centres[-1] <= 2.5 - size / 2 + 1e-9


@given(wanted=PLACES)
@settings(deadline=None, derandomize=True, max_examples=100)
def test_labels_keep_the_order_of_their_lines(wanted):
    centres = spread(wanted, [0.2] * len(wanted), 0, 2.5)
    order = sorted(range(len(wanted)), key=lambda place: wanted[place])
    assert [centres[place] for place in order] == sorted(centres)
