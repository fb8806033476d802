"""Newcombe RG. Two-sided confidence intervals for the single proportion: comparison of seven methods.
Stat Med 1998;17:857-872, Table I. Values from memory, as published to four decimals.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from builders.outside_values import values
from necrostats.stats.proportions import clopper_pearson, mid_p, wilson

METHODS = {"score": wilson, "exact": clopper_pearson, "mid-P": mid_p}
TABLE = [row for row in values("printed_intervals") if row["id"].split(".")[1] in METHODS]


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["id"])
def test_limits_are_those_of_table_1(row):
    found = METHODS[row["id"].split(".")[1]](*row["inputs"])
    assert_allclose([found.low, found.high], row["published"], rtol=0, atol=0.5 * 10.0 ** -row["decimals"])


def test_the_table_is_there():
    assert len(TABLE) == 7


@pytest.mark.parametrize("row", values("series_proportions"), ids=lambda row: row["id"])
def test_limits_for_published_series_agree_with_an_independent_computation(row):
    """Counts of published series (sources in data/series_proportions.json); limits computed apart from this project."""
    for name, method in (("clopper_pearson", clopper_pearson), ("wilson", wilson), ("midp", mid_p)):
        found = method(row["x"], row["n"])
        assert_allclose(np.array([found.low, found.high]), row[name], rtol=1e-9, atol=1e-9)
