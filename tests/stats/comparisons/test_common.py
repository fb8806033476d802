from __future__ import annotations

import numpy as np
import pytest

from necrostats.errors import StatisticsError
from necrostats.stats.comparisons.common import (
    counted,
    empty_groups,
    nothing_to_compare,
    one_table,
    two_groups,
    two_sided,
)


def test_the_cells_of_eight_in_ten_against_two_in_ten_have_the_groups_as_columns():
    groups = one_table(8, 10, 2, 10)
    assert groups.cells().tolist() == [[8, 2], [2, 8]]
    assert (groups.share, groups.share_ref) == (0.8, 0.2)
    assert not groups.empty and not groups.no_contrast and not groups.no_events


def test_arrays_broadcast_and_each_row_is_judged_by_itself():
    groups = two_groups([0, 0, 5, 3], [5, 0, 5, 5], [0, 2, 4, 1], 4)
    assert groups.m.tolist() == [4, 4, 4, 4]
    assert groups.empty.tolist() == [False, True, False, False]
    assert groups.no_events.tolist() == [True, False, False, False]
    assert groups.no_contrast.tolist() == [True, False, True, False]
    assert groups.share[2:].tolist() == [1, 0.6] and np.isnan(groups.share[1])
    assert groups.at(groups.empty).b.tolist() == [2]


@pytest.mark.parametrize(
    ("given", "said"),
    [((6, 5, 0, 5), "events"), ((0, 5, 6, 5), "events_ref"), ((-1, 5, 0, 5), "events"), ((0.5, 5, 0, 5), "events")],
)
def test_counts_that_cannot_be_are_refused(given, said):
    with pytest.raises(StatisticsError, match=said):
        two_groups(*given)


def test_one_table_takes_four_numbers():
    with pytest.raises(StatisticsError, match="one pair of groups at a time"):
        one_table([1, 2], 5, 0, 5)


def test_what_cannot_be_compared_is_said_with_the_rows_it_concerns():
    [empty] = empty_groups(two_groups([0, 1, 2], [0, 5, 5], [1, 1, 0], [5, 5, 0]))
    assert (empty.code, empty.text.split(":")[0]) == ("SMALL_N", "A group has nobody in it in 2 of 3 rows")
    [none] = nothing_to_compare(one_table(0, 5, 0, 5))
    assert none.code == "ZERO_EVENTS"
    assert none.text.startswith("All have the event in both groups, or nobody in either: no test")
    assert nothing_to_compare(one_table(1, 5, 0, 5)) == ()
    assert counted(np.array([False, False]), "SMALL_N", "x", "y") == ()


def test_two_one_sided_p_values_make_twice_the_smaller_and_never_more_than_1():
    assert two_sided(0.3, 0.8) == 0.6
    assert two_sided(0.8, 0.01) == 0.02
    assert two_sided(0.6, 0.7) == 1.0
