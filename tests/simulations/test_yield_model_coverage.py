"""The committed table of coverage in small series: what it shows, and that the script still gives it."""

from __future__ import annotations

import pytest

from simulations.tables import far, read
from simulations.yield_model_coverage import REPLICATES, SIZES, TABLE, simulate


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


def test_every_model_is_there_at_every_size_from_all_series(table):
    assert len(table) == 4 * len(SIZES) and min(int(row["intervals"]) for row in table) > 0.99 * REPLICATES


def test_false_alarms_of_the_adjusted_models_lie_between_4_and_6_and_a_half_per_cent(table):
    adjusted = [1 - float(row["coverage"]) for row in table if row["figure"].endswith("adjusted")]
    assert len(adjusted) == 2 * len(SIZES) and min(adjusted) >= 0.04 and max(adjusted) <= 0.065


def test_crude_and_within_patients_cover_93_to_97_per_cent(table):
    assert all(0.93 <= float(row["coverage"]) <= 0.97 for row in table)


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    assert far(table, simulate(10, replicates=50)) == []
