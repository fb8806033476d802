"""The committed table of coverage by session number: what it shows, and that the script still gives it."""

from __future__ import annotations

import pytest

from simulations.session_coverage import AT_ONCE, REPLICATES, SIZES, TABLE, simulate
from simulations.tables import far, outside, read


@pytest.fixture(scope="module")
def table():
    return read(TABLE)


CONSERVATIVE = {
    ("15", "resolved within 0"): 0.9868,
    ("15", "still needing more after 3"): 0.9742,
    ("15", "median sessions"): 0.9875,
    ("40", "median sessions"): 0.9855,
    ("40", "median sessions, nobody lost"): 0.9785,
    ("100", "median sessions"): 0.985,
    ("100", "median sessions, nobody lost"): 0.9842,
}


def _exact(row):
    """Clopper–Pearson: fewer than 30 patients, none of them lost."""
    return row["figure"].endswith("nobody lost") and row["patients"] == "15"


def test_every_figure_is_there_at_every_size(table):
    assert len(table) == 19 * len(SIZES) and len({row["figure"] for row in table}) == 19
    assert min(int(row["intervals"]) for row in table) > 0.9 * REPLICATES


def test_nominal_95_percent_intervals_cover_93_to_97_percent_but_for_these_that_cover_more(table):
    """Where half are resolved after 3 sessions, limits are whole numbers: the next ones in would hold it too seldom.

    Of 15 patients so few are resolved at 0 that the counts, too, lie far apart.
    """
    assert outside(row for row in table if not _exact(row)) == CONSERVATIVE
    assert min(CONSERVATIVE.values()) > 0.97


def test_exact_intervals_cover_at_least_95_percent(table):
    exact = [row for row in table if _exact(row)]
    assert len(exact) == 6 and all(float(row["coverage"]) >= 0.95 for row in exact)


@pytest.mark.simulation
def test_a_short_run_of_the_script_agrees_with_the_table(table):
    again = simulate(40, replicates=AT_ONCE)
    assert len(again) == 19 and far(table, again) == []
