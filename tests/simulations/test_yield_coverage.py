"""The committed table of coverage over generated units: what it shows, and that the script still gives it."""

from __future__ import annotations

import pytest

from simulations.tables import far, read
from simulations.yield_coverage import PATIENTS_OF_A_UNIT, TABLE, UNITS, simulate


@pytest.fixture(scope="module")
def coverage():
    return {(int(row["patients"]), row["figure"]): float(row["coverage"]) for row in read(TABLE)}


def test_every_model_is_there_at_every_size(coverage):
    assert set(coverage) == {(size, kind) for size in UNITS for kind in ("crude", "adjusted", "within patients")}
    assert all(int(row["intervals"]) > 0.75 * UNITS[int(row["patients"])] for row in read(TABLE))


def test_the_adjusted_interval_holds_the_true_ratio_in_at_least_93_percent_of_units(coverage):
    assert min(coverage[size, "adjusted"] for size in UNITS) >= 0.93


def test_the_crude_interval_holds_it_more_seldom_and_clearly_so_in_larger_units(coverage):
    assert all(coverage[size, "crude"] < coverage[size, "adjusted"] for size in UNITS)
    assert coverage[max(UNITS), "crude"] < coverage[max(UNITS), "adjusted"] - 0.05


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table():
    assert far(read(TABLE), simulate(PATIENTS_OF_A_UNIT, range(3))) == []
