"""The committed table of coverage between scans: what it shows, and that the script still gives it."""

from __future__ import annotations

import numpy as np
import pytest

from simulations.scan_range_coverage import REPLICATES, SIZES, TABLE, between_scans, simulate, true_incidence
from simulations.tables import far, outside, read


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


def test_every_figure_is_there_at_every_size(table):
    assert len(table) == 6 * len(SIZES) and len({row["figure"] for row in table}) == 6
    assert min(int(row["intervals"]) for row in table) > 0.97 * REPLICATES


def test_every_nominal_95_percent_interval_covers_93_to_97_percent(table):
    assert outside(table) == {}


def test_the_days_lie_between_the_scans_and_those_who_end_otherwise_are_never_resolved():
    rng = np.random.default_rng(1)
    days = np.append(rng.exponential(60, 500), np.full(50, np.inf))
    rows = between_scans(rng, days)
    assert (rows.left < days).all() and (days <= rows.right).all()
    assert np.isinf(rows.right[-50:]).all() and (rows.left[-50:] >= 60).all()


def test_the_true_share_never_passes_that_of_those_who_resolve():
    assert 0.39 < true_incidence(45) < 0.41 and 0.79 < true_incidence(1000) < 0.8


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    again = simulate(15, replicates=25)
    assert len(again) == 6 and far(table, again) == []
