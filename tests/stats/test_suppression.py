"""Which counts must be hidden: a worked table, edges, and random tables checked by fractions."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from necrostats.errors import StatisticsError
from necrostats.stats.suppression import determined, shown_counts


def adds_up(levels, total, size):
    row = np.zeros(size)
    row[list(levels)], row[total] = 1, -1
    return row


def of_levels(*levels, fewest=5):
    """Levels of one variable and their total: which levels are shown."""
    values = [*levels, sum(levels)]
    places = range(len(levels))
    shown = shown_counts(
        values, [adds_up(places, len(levels), len(values))], np.eye(len(values))[:-1], unions=[places], fewest=fewest
    )
    return shown.tolist()


def test_a_small_level_takes_a_second_one_with_it():
    """Worked by hand: 3 is small; hidden alone it is 30 − 20 − 7; so the next smallest goes too, the total stays."""
    assert of_levels(20, 7, 3) == [True, False, False, True]


@pytest.mark.parametrize(("small", "hidden"), [(0, False), (1, True), (4, True), (5, False)])
def test_small_is_from_1_to_one_less_than_the_threshold(small, hidden):
    assert of_levels(20, 30, small)[2] is not hidden


def test_two_small_ones_that_together_are_small_take_a_third():
    assert of_levels(20, 9, 1, 2) == [True, False, False, False, True]
    assert of_levels(20, 9, 3, 2) == [True, True, False, False, True]


def test_the_threshold_of_an_external_page_hides_more():
    assert of_levels(40, 30, 10, 12, fewest=11) == [True, True, False, False, True]
    assert of_levels(40, 30, 11, 12, fewest=11) == [True] * 5


def test_what_is_left_of_a_total_is_hidden_with_it():
    """38 of 41 sessions looked at: the 3 are small, so that 38 and 41 cannot both be printed."""
    shown = shown_counts([38, 41], np.zeros((0, 2)), [[-1, 1]])
    assert shown.sum() == 1


def test_nothing_small_leaves_all_and_nothing_at_all_is_answered():
    assert of_levels(5, 6, 7) == [True] * 4
    assert shown_counts([], np.zeros((0, 0)), np.zeros((0, 0))).tolist() == []


def test_shapes_that_do_not_fit_are_one_clear_error():
    with pytest.raises(StatisticsError, match="column for each"):
        shown_counts([1, 2], [[1, 1, 1]], [[1, 0]])


def test_a_sum_is_fixed_where_it_can_be_put_together():
    assert determined([[1, 1, 0], [1, 0, 0]], [[1, 0, 0], [0, 1, 0]]).tolist() == [True, True]
    assert determined([[1, 0, 0]], [[1, 1, 0]]).tolist() == [False]
    assert determined([[1, 0]], np.zeros((0, 2))).tolist() == [False]


def solvable(wanted, known):
    """The same question by Gaussian elimination in fractions, without numpy's arithmetic."""
    rows = [[Fraction(int(x)) for x in row] for row in known]
    target = [Fraction(int(x)) for x in wanted]
    for column in range(len(target)):
        pivot = next((row for row in rows if row[column] != 0), None)
        if pivot is None:
            continue
        rows.remove(pivot)
        rows = [[x - row[column] / pivot[column] * y for x, y in zip(row, pivot, strict=True)] for row in rows]
        target = [x - target[column] / pivot[column] * y for x, y in zip(target, pivot, strict=True)]
    return not any(target)


@pytest.mark.parametrize("seed", range(40))
def test_of_random_two_way_tables_no_small_cell_can_be_worked_out(seed):
    """Property: cells, row and column totals and the grand total, all printed but what is hidden."""
    rng = np.random.default_rng(seed)
    rows, columns = rng.integers(2, 5, 2)
    cells = rng.poisson(rng.choice([2, 6, 15]), (rows, columns))
    values = np.concatenate([cells.ravel(), cells.sum(1), cells.sum(0), [cells.sum()]])
    size, inner = values.size, rows * columns
    place = np.arange(inner).reshape(rows, columns)
    equations = [adds_up(place[r], inner + r, size) for r in range(rows)]
    equations += [adds_up(place[:, c], inner + rows + c, size) for c in range(columns)]
    equations += [adds_up(range(inner, inner + rows), size - 1, size)]
    equations += [adds_up(range(inner + rows, size - 1), size - 1, size)]
    shown = shown_counts(values, equations, np.eye(size))
    printed = [*np.eye(size)[shown], *equations]
    small = np.flatnonzero((values > 0) & (values < 5))
    assert not shown[small].any()
    assert not any(solvable(np.eye(size)[each], printed) for each in small)


def test_one_hidden_count_of_a_union_is_too_few_however_large():
    """20 − 18 must stay unknown, so that 18 goes; alone it would be what is missing from a printed total of 48."""
    assert shown_counts([20, 18, 30], [], [[1, -1, 0]]).tolist() == [True, False, True]
    assert shown_counts([20, 18, 30], [], [[1, -1, 0]], unions=[[1, 2]]).tolist() == [True, False, False]
