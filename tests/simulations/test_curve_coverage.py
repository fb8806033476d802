"""The committed table of simulated coverage: what it shows, and that the script still gives it."""

from __future__ import annotations

import pytest

from simulations.curve_coverage import AT_ONCE, REPLICATES, SIZES, TABLE, simulate
from simulations.tables import far, outside, read


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


def test_every_interval_is_there_at_every_size_from_all_series(table):
    figures = {row["figure"] for row in table}
    assert len(figures) == 15 and len(table) == 15 * len(SIZES)
    assert {int(row["intervals"]) // REPLICATES for row in table if row["no_limits"] == "0.0"} == {1, 2}


def test_nominal_95_percent_intervals_cover_93_to_97_percent_but_for_one_that_covers_more(table):
    """A ratio of shares free of events, of which no measure makes use: 4 or 5 patients of 15 are left."""
    assert outside(table) == {("15", "ratio of event-free share at 60"): 0.9845}


def test_few_series_are_too_short_for_an_interval(table):
    assert max(float(row["no_limits"]) for row in table) < 0.05


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    again = simulate(40, replicates=4 * AT_ONCE)
    assert len(again) == 15 and far(table, again) == []
