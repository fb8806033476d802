from __future__ import annotations

from dataclasses import FrozenInstanceError

import numpy as np
import pytest
from numpy.testing import assert_allclose

from necrostats.stats.incidence import aalen_johansen, kaplan_meier


def test_survival_is_one_before_any_event_with_limits_of_one_and_unknown_after_the_last_time_seen():
    """Group a: censored at 1, an event at 2 (of 3), last seen at 4; b runs to 9. By hand: 1, then 2/3."""
    curve = kaplan_meier([1, 2, 4, 4, 9, 9], [0, 1, 0, 0, 1, 0], group=list("aaaabb"))
    times = curve.table.time.tolist()
    assert times == [1, 2, 4, 9]
    assert_allclose(curve.estimate[0], [1, 2 / 3, 2 / 3, np.nan])
    assert (curve.low[0, 0], curve.high[0, 0]) == (1, 1)
    assert np.isnan([curve.low[0, 3], curve.high[0, 3], curve.std_error[0, 3]]).all()


def test_survival_that_has_reached_0_stays_there_and_has_no_error_or_limits():
    curve = kaplan_meier([2, 5], [1, 1], group=["a", "b"])
    assert_allclose(curve.estimate[0], [0, 0])
    assert np.isnan([curve.std_error[0, 0], curve.low[0, 0], curve.high[0, 0]]).all()
    assert curve.estimate[1].tolist() == [1, 0]


def test_incidences_of_all_causes_and_the_share_free_of_events_make_one():
    """Cause x at 1, y at 2, censored at 3, x at 4: by hand x 1/4, 1/4, 1/4, 3/4 and y 0, 1/4, 1/4, 1/4."""
    curve = aalen_johansen([1, 2, 3, 4], [1, 2, 0, 1], causes=("x", "y"))
    assert_allclose(curve.estimate[0], [[0.25, 0.25, 0.25, 0.75], [0, 0.25, 0.25, 0.25]])
    assert_allclose(curve.estimate[0].sum(axis=0) + curve.event_free[0], 1)
    assert np.isnan(curve.low[0, 1, 0]) and np.isnan(curve.high[0, 1, 0])


def test_a_curve_cannot_be_changed():
    curve = kaplan_meier([1], [1])
    with pytest.raises(FrozenInstanceError):
        curve.estimate = np.zeros(1)
