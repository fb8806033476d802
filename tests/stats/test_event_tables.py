from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from necrostats.errors import StatisticsError
from necrostats.stats.event_tables import event_table

quickly = settings(deadline=None, derandomize=True, max_examples=60)
PARTS = ("time", "groups", "causes", "at_risk", "events", "censored")
subjects = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 2), st.integers(0, 12), st.integers(0, 2)), min_size=1, max_size=40
).map(lambda rows: np.array([row for row in rows if row[2] == 0 or row[2] < row[0]] or [(1, 0, 0, 0)]).T)


def _same(one, other):
    return all(np.array_equal(getattr(one, part), getattr(other, part)) for part in PARTS)


def test_six_subjects_worked_by_hand():
    """Day 0: an event. Day 1: a censoring and an event by cause 2. Day 3: an event. Day 5: an event, a censoring."""
    table = event_table([3, 1, 1, 0, 5, 5], [1, 0, 2, 1, 0, 1])
    assert table.time.tolist() == [0, 1, 3, 5]
    assert table.at_risk.tolist() == [[6, 5, 3, 2]]
    assert table.events.tolist() == [[[1, 0, 1, 1], [0, 1, 0, 0]]]
    assert table.censored.tolist() == [[0, 1, 0, 1]]
    assert (table.groups.tolist(), table.causes.tolist()) == (["all"], [1, 2])


def test_a_late_entry_is_at_risk_only_after_it():
    """Entering on day 3 and ending on day 5: not in the risk set of day 3, in that of day 5."""
    table = event_table([3, 5], [1, 1], entry=[0, 3])
    assert table.time.tolist() == [3, 5]
    assert table.at_risk.tolist() == [[1, 1]]
    assert table.entered.tolist() == [[1, 0]]


def test_an_entry_of_0_means_from_the_very_start():
    table = event_table([0, 2], [1, 1], entry=[0, 0])
    assert table.at_risk.tolist() == [[2, 1]]


@pytest.mark.parametrize("entry", [[4, 0], [5, 0]])
def test_an_entry_at_or_after_the_end_is_refused(entry):
    with pytest.raises(StatisticsError, match=r"entry number 1.*not before its time, 4"):
        event_table([4, 4], [1, 0], entry=entry)


@quickly
@given(rows=subjects)
def test_counts_are_those_of_a_plain_count_by_definition(rows):
    time, cause, entry, group = rows
    table = event_table(time, cause, entry=entry, group=group, causes=["x", "y"], groups=[0, 1, 2])
    for g in range(3):
        mine = group == g
        for place, t in enumerate(table.time):
            observed = mine & ((entry < t) | (entry == 0)) & (time >= t)
            assert table.at_risk[g, place] == np.count_nonzero(observed)
            assert table.censored[g, place] == np.count_nonzero(mine & (time == t) & (cause == 0))
            for c in (1, 2):
                assert table.events[g, c - 1, place] == np.count_nonzero(mine & (time == t) & (cause == c))


@quickly
@given(rows=subjects, seed=st.integers(0, 9))
def test_row_order_changes_nothing(rows, seed):
    order = np.random.default_rng(seed).permutation(rows.shape[1])
    one, other = (event_table(t, c, entry=e, group=g, causes=[1, 2]) for t, c, e, g in (rows, rows[:, order]))
    assert _same(one, other)


@quickly
@given(rows=subjects)
def test_times_in_other_units_give_the_same_counts_without_the_whole_number_path(rows):
    time, cause, entry, group = rows
    days = event_table(time, cause, entry=entry, group=group, causes=[1, 2])
    weeks = event_table(time / 7, cause, entry=entry / 7, group=group, causes=[1, 2])
    assert_allclose(weeks.time, days.time / 7)
    for part in ("at_risk", "events", "censored"):
        assert_array_equal(getattr(weeks, part), getattr(days, part))


def test_far_apart_whole_times_take_the_sorted_path_and_agree():
    time = np.array([0, 3, 3, 10**9])
    table = event_table(time, [1, 0, 1, 0])
    assert table.time.tolist() == [0, 3, 10**9] and table.at_risk.tolist() == [[4, 3, 1]]


@quickly
@given(rows=subjects, cut=st.integers(0, 40))
def test_tables_of_two_halves_add_up_to_the_table_of_all(rows, cut):
    halves = [rows[:, :cut], rows[:, cut:]]
    tables = [event_table(t, c, entry=e, group=g, causes=[1, 2], groups=[0, 1, 2]) for t, c, e, g in [*halves, rows]]
    assert _same(tables[0] + tables[1], tables[2])


def test_tables_of_different_causes_do_not_add_up():
    with pytest.raises(StatisticsError, match="causes"):
        event_table([1], [1], causes=["a"]) + event_table([1], [1], causes=["b"])


@quickly
@given(rows=subjects, seed=st.integers(0, 9))
def test_weights_on_rows_and_weights_on_groups_are_repeated_rows(rows, seed):
    drawn = np.random.default_rng(seed).integers(0, 4, rows.shape[1])
    time, cause, entry, _ = rows
    again = np.repeat(rows, drawn, axis=1)
    repeated = event_table(again[0], again[1], entry=again[2], causes=[1, 2])
    weighted = event_table(time, cause, entry=entry, weights=drawn, causes=[1, 2])
    each = event_table(time, cause, entry=entry, group=np.arange(time.size), causes=[1, 2])
    product = each.weighted(drawn[None].astype(float), groups=["all"])
    assert _same(weighted, repeated)
    assert _same(product, repeated.with_times(product.time))


def test_empty_groups_stay_in_the_table():
    table = event_table([1, 2], [1, 0], group=["b", "b"], groups=["a", "b", "c"])
    assert table.at_risk.tolist() == [[0, 0], [2, 1], [0, 0]]
    assert table.last_observed.tolist() == [-1, 1, -1]


def test_small_whole_number_types_do_not_overflow():
    time, cause, group = (np.array(each, dtype=np.int8) for each in ([100, 120], [3, 1], [1, 0]))
    table = event_table(time, cause, group=group, groups=range(2))
    assert table.time.tolist() == [100, 120]
    assert table.events[1, 2].tolist() == [1, 0] and table.events[0, 0].tolist() == [0, 1]


def test_a_group_or_cause_off_the_list_is_named():
    with pytest.raises(StatisticsError, match="group holds z, not among: a, b"):
        event_table([1, 2], [1, 0], group=["a", "z"], groups=["a", "b"])
    with pytest.raises(StatisticsError, match="group holds -1 to 0"):
        event_table([1, 2], [1, 0], group=np.array([0, -1]), groups=range(2))
    with pytest.raises(StatisticsError, match="cause holds 3"):
        event_table([1, 2], [1, 3], causes=["a", "b"])
    with pytest.raises(StatisticsError, match="one group twice"):
        event_table([1], [1], group=["a"], groups=["a", "a"])


@pytest.mark.parametrize(
    ("time", "cause"), [([-1, 2], [0, 1]), ([np.nan, 2], [0, 1]), ([1, 2], [0.5, 1]), ([1, 2], [-1, 1]), ([1], [0, 1])]
)
def test_times_and_causes_that_cannot_be_are_refused(time, cause):
    with pytest.raises(StatisticsError):
        event_table(time, cause)


def test_nobody_gives_an_empty_table():
    table = event_table([], [], groups=["all"], causes=["a", "b"])
    assert table.events.shape == (1, 2, 0) and table.last_observed.tolist() == [-1]
    assert table.risk_at([0, 5]).tolist() == [[0, 0]]


def test_landmarks_get_rows_of_their_own_where_nothing_happened():
    table = event_table([10, 40], [1, 0]).with_times([30, 40, 60])
    assert table.time.tolist() == [10, 30, 40, 60]
    assert table.at_risk.tolist() == [[2, 1, 1, 0]] and table.censored.tolist() == [[0, 0, 1, 0]]


def test_weights_of_the_wrong_width_are_refused():
    with pytest.raises(StatisticsError, match="2 columns"):
        event_table([1, 2], [1, 1], group=["a", "b"]).weighted([[1, 1, 1]])
