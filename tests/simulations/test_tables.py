"""How intervals are counted into a table."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_array_equal

from simulations.tables import Cell, Limits, cells, far, outside, portions, read, stacked, write


def _limits(low, high, truth=1.0):
    return Limits(truth=truth, low=np.array(low), high=np.array(high))


def test_a_limit_not_reached_holds_the_truth_on_its_side_and_no_limits_at_all_hold_nothing():
    found = _limits([0.0, 2.0, np.nan, np.nan, 1.0], [0.5, np.nan, 3.0, np.nan, 1.0]).held
    assert_array_equal(found, [0, 0, 1, np.nan, 1])


def test_coverage_is_over_the_intervals_there_are_in_all_parts():
    parts = [{"share": _limits([0.0, np.nan], [2.0, np.nan])}, {"share": _limits([2.0, 0.5], [3.0, 1.5])}]
    (cell,) = cells(15, parts)
    assert (cell.truth, cell.coverage, cell.no_limits, cell.intervals) == (1.0, 0.6667, 0.25, 3)


def test_series_come_in_portions_and_single_ones_are_stacked():
    assert list(portions(7, 3)) == [3, 3, 1]
    both = stacked([{"share": _limits(0.0, 2.0)}, {"share": _limits(2.0, 3.0)}])["share"]
    assert_array_equal(both.held, [1, 0])


def test_what_is_written_is_read_and_what_lies_outside_or_far_off_is_named(tmp_path):
    rows = [
        Cell(patients=15, figure=figure, truth=1.0, coverage=coverage, no_limits=0.0, intervals=400)
        for figure, coverage in (("in", 0.95), ("out", 0.92))
    ]
    write(tmp_path / "table.csv", rows)
    table = read(tmp_path / "table.csv")
    assert outside(table) == {("15", "out"): 0.92}
    assert far(table, rows) == []
    moved = Cell(patients=15, figure="in", truth=1.0, coverage=0.9, no_limits=0.0, intervals=400)
    strange = Cell(patients=40, figure="in", truth=1.0, coverage=0.95, no_limits=0.0, intervals=400)
    assert far(table, [moved, strange]) == [moved, strange]
