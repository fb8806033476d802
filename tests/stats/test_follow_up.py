from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from builders.outside_values import data, numbers, values
from necrostats.stats.follow_up import follow_up


def test_it_is_the_median_of_r_with_events_and_censorings_exchanged():
    patients = data("sim_patients")
    expected = values("r_survival")["km.sim_pat_reverseKM_followup.log-log.quantiles"]["value"]
    found = follow_up(patients.days, patients.status)
    listed = [numbers(expected[name])[1] for name in ("quantile", "lower", "upper")]
    assert_allclose([found.estimate[0], found.low[0], found.high[0]], listed)


def test_an_early_death_does_not_shorten_follow_up_worked_by_hand():
    """Ends of follow-up at 10, 20, 30; a death at day 1 leaves: 1 → 2/3 → 1/3, so the median is 20."""
    assert follow_up([10, 20, 30, 1], [0, 0, 0, 2]).estimate[0] == 20


@settings(deadline=None, derandomize=True, max_examples=40)
@given(time=st.lists(st.integers(0, 20), min_size=1, max_size=20))
def test_without_events_it_is_the_plain_median(time):
    assert follow_up(time, np.zeros(len(time), int)).estimate[0] == np.median(time)


def test_everybody_with_an_event_has_no_median_follow_up_and_says_so():
    found = follow_up([3, 5], [1, 2], group=["a", "b"])
    assert np.isnan(found.estimate).all() and [note.code for note in found.notes] == ["NOT_REACHED"]
