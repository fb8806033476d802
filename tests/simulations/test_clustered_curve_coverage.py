"""The committed table of coverage with collections by patient: what it shows, and that the script still gives it."""

from __future__ import annotations

import pytest

from simulations.clustered_curve_coverage import AT_ONCE, REPLICATES, SIZES, TABLE, exact_shares, simulate
from simulations.tables import far, outside, read


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


def _by_patient(table):
    return [row for row in table if row["figure"].endswith("by patient")]


def test_every_interval_is_there_at_every_size(table):
    assert len(table) == 8 * len(SIZES) and len(_by_patient(table)) == 3 * len(SIZES)
    assert all(int(row["intervals"]) > 0.99 * REPLICATES for row in _by_patient(table))


def test_nominal_95_percent_intervals_by_patient_cover_93_to_97_percent(table):
    assert outside(_by_patient(table)) == {}


def test_collections_taken_for_patients_cover_too_seldom_at_every_size(table):
    assert all(float(row["coverage"]) < 0.93 for row in table if row["figure"].endswith("each by itself"))


def test_exact_intervals_cover_at_least_95_percent(table):
    exact = [row for row in table if row["figure"].startswith("share")]
    assert len(exact) == 9 and all(float(row["coverage"]) >= 0.95 for row in exact)


@pytest.mark.simulation
def test_the_exact_coverage_is_still_what_the_table_says(table):
    listed = {(row["patients"], row["figure"]): row["coverage"] for row in table}
    for cell in (cell for patients in SIZES for cell in exact_shares(patients)):
        assert float(listed[str(cell.patients), cell.figure]) == cell.coverage


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    again = simulate(40, replicates=4 * AT_ONCE)
    assert len(again) == 5 and far(table, again) == []
