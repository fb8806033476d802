"""The committed table of simulated coverage: what it shows, and that the script still gives it."""

from __future__ import annotations

import csv

import pytest

from simulations.curve_coverage import AT_ONCE, REPLICATES, SIZES, TABLE, simulate


@pytest.fixture(scope="module")
def table():
    with TABLE.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_every_interval_is_there_at_every_size_from_all_series(table):
    figures = {row["figure"] for row in table}
    assert len(figures) == 11 and len(table) == 11 * len(SIZES)
    assert {int(row["intervals"]) // REPLICATES for row in table if row["no_limits"] == "0.0"} == {1, 2}


def test_every_nominal_95_percent_interval_covers_93_to_97_percent(table):
    assert all(0.93 <= float(row["coverage"]) <= 0.97 for row in table)


def test_few_series_are_too_short_for_an_interval(table):
    assert max(float(row["no_limits"]) for row in table) < 0.05


def test_a_short_run_of_the_script_agrees_with_the_table(table):
    listed = {row["figure"]: float(row["coverage"]) for row in table if row["patients"] == "40"}
    for cell in simulate(40, replicates=4 * AT_ONCE):
        assert cell.intervals >= 195 and abs(cell.coverage - listed[cell.figure]) < 0.05
