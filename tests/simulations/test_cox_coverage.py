"""The committed table of coverage of hazard ratios: what it shows, and that the script still gives it."""

from __future__ import annotations

import numpy as np
import pytest

from simulations.cox_coverage import AT_ONCE, REPLICATES, SIZES, STABLE, TABLE, positive_stable, simulate
from simulations.tables import far, outside, read


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


USED = "after first use, model error"
CONSERVATIVE = {("15", USED): 0.9882}
NOT_USED = ("collections, each by itself", "after first use, robust by patient")
TOO_SELDOM = {
    ("15", "collections, each by itself"): 0.895,
    ("40", "collections, each by itself"): 0.892,
    ("100", "collections, each by itself"): 0.8955,
    ("40", "after first use, robust by patient"): 0.9279,
}


def _of_the_measures(table):
    return [row for row in table if row["figure"] not in NOT_USED]


def test_every_figure_is_there_at_every_size(table):
    assert len(table) == 6 * len(SIZES)
    few = {(row["patients"], row["figure"]) for row in table if int(row["intervals"]) < 0.99 * REPLICATES}
    assert few == {("15", USED), ("15", "after first use, robust by patient")}


def test_nominal_95_percent_intervals_cover_93_to_97_percent_but_for_one_that_covers_more(table):
    """Of 15 patients, with a baseline for each number of sessions, a fifth of series has all events on one side."""
    assert outside(_of_the_measures(table)) == CONSERVATIVE and min(CONSERVATIVE.values()) > 0.97


def test_the_errors_that_the_measures_do_not_use_cover_too_seldom(table):
    assert {cell: each for cell, each in outside(table).items() if cell[1] in NOT_USED} == TOO_SELDOM


def test_the_frailty_has_the_laplace_transform_it_should():
    drawn = positive_stable(np.random.default_rng(1), 100_000)
    for s in (0.2, 1.0, 3.0):
        assert np.exp(-s * drawn).mean() == pytest.approx(np.exp(-(s**STABLE)), abs=0.005)


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    again = simulate(40, replicates=AT_ONCE)
    assert len(again) == 6 and far(table, again) == []
