"""Freireich EJ et al., Blood 1963;21:699-716, as used by Gehan EA, Biometrika 1965;52:203-223: weeks in remission.

Values from memory, as published. No decimals were printed for medians.
"""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from builders.outside_values import values
from necrostats.stats.incidence import at, kaplan_meier, quantile

TRIAL = values("freireich_1963")


def test_remission_on_6_mp_is_as_published():
    curve = kaplan_meier(TRIAL["time"], TRIAL["event"])
    weeks = [int(week) for week in TRIAL["S"]]
    assert_allclose(at(curve, weeks).estimate[0], list(TRIAL["S"].values()), rtol=0, atol=0.5e-4)


def test_median_remissions_are_as_published():
    time = TRIAL["time"] + TRIAL["placebo"]
    event = TRIAL["event"] + [1] * len(TRIAL["placebo"])
    group = np.repeat(["6-MP", "placebo"], [len(TRIAL["time"]), len(TRIAL["placebo"])])
    medians = quantile(kaplan_meier(time, event, group=group))
    assert_allclose(medians.estimate, [TRIAL["median"], TRIAL["placebo_median"]], rtol=0, atol=0)
