"""Garwood F. Fiducial limits for the Poisson distribution. Biometrika 1936;28:437-442, and R's poisson.test help page.

Values from memory, as published.
"""

from __future__ import annotations

import pytest
from numpy.testing import assert_allclose

from builders.outside_values import values
from necrostats.stats.rates import garwood

PRINTED = values("printed_intervals")
TABLE = [row for row in PRINTED if row["id"].startswith("garwood.")]
(HELP_PAGE,) = [row for row in PRINTED if row["id"] == "rpoistest.137"]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["id"])
def test_limits_for_a_count_are_those_of_the_table(row):
    found = garwood(row["inputs"][0], 1)
    assert_allclose([found.low, found.high], row["published"], rtol=0, atol=0.5 * 10.0 ** -row["decimals"])


def test_the_table_is_there():
    assert [row["inputs"][0] for row in TABLE] == [1, 2, 4, 5, 20, 100]


def test_limits_for_137_events_over_an_exposure_are_those_of_the_help_page():
    found = garwood(*HELP_PAGE["inputs"])
    assert_allclose([found.low, found.high], HELP_PAGE["published"], rtol=0, atol=0.5e-6)
