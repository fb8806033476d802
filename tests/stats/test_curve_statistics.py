from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from necrostats.stats.curve_statistics import ManyCurves, height_of, median_of, restricted_mean_of
from necrostats.stats.event_tables import event_table

CURVES = ManyCurves(
    table=event_table([1, 2, 3, 4, 2, 9], [1, 2, 1, 1, 1, 0], group=list("aaaabb"), groups=["a", "b", "c"])
)


def test_two_small_groups_and_one_with_nobody_worked_by_hand():
    """a: events at 1, 2 (the other cause), 3, 4; b: one of two at 2, the other left at 9. Median of b runs 2 to 9."""
    assert_allclose(median_of().of(CURVES), [2.5, 5.5, np.nan])
    assert_allclose(median_of(1).of(CURVES), [3.5, 5.5, np.nan])
    assert_allclose(median_of(2).of(CURVES), [np.inf, np.inf, np.nan])
    assert_allclose(median_of(1, midpoint=False).of(CURVES), [3, 2, np.nan])
    assert_allclose(height_of(3, 1).of(CURVES), [0.5, 0.5, np.nan])
    assert_allclose(height_of(0).of(CURVES), [1, 1, np.nan])
    assert_allclose(restricted_mean_of(4).of(CURVES), [2.5, 3, np.nan])
    assert_allclose(restricted_mean_of(20, 2).of(CURVES), [18 / 4, np.nan, np.nan])


def test_names_say_what_was_read():
    named = [each.name for each in (median_of(), median_of(1, p=0.25), height_of(90, "death"), restricted_mean_of(180))]
    assert named == ["median", "25% quantile, 1", "incidence at 90, death", "restricted mean to 180"]
