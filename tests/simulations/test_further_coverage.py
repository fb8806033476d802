"""The committed table of coverage of the remaining figures: what it shows, and that the script still gives it."""

from __future__ import annotations

import pytest

from simulations.further_coverage import AT_ONCE, REPLICATES, SIZES, TABLE, simulate
from simulations.tables import far, outside, read


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


TOO_SELDOM = {("15", "mean sessions of the resolved"): 0.903}
EXACT = "share of necrosectomies that were enough"


def test_every_figure_is_there_at_every_size(table):
    assert len(table) == 10 * len(SIZES) and len({row["figure"] for row in table}) == 10
    assert min(int(row["intervals"]) for row in table) > 0.97 * REPLICATES


def test_nominal_95_percent_intervals_cover_93_to_97_percent_but_for_one(table):
    """Necrosectomies of the resolved are skewed, and few: `mean` says so in a note with fewer than 20."""
    assert outside(row for row in table if row["figure"] != EXACT) == TOO_SELDOM
    assert max(TOO_SELDOM.values()) < 0.93


def test_exact_intervals_cover_at_least_95_percent(table):
    """Korn–Graubard: Clopper–Pearson on as many necrosectomies as their clustering leaves."""
    exact = [float(row["coverage"]) for row in table if row["figure"] == EXACT]
    assert exact == [0.9885, 0.976, 0.9685]


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    again = simulate(40, replicates=AT_ONCE)
    assert len(again) == 10 and far(table, again) == []
