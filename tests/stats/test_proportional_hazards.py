from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from necrostats.errors import ChoiceError
from necrostats.stats.proportional_hazards import proportional_hazards


def _series(seed, crossing, n=150):
    rng = np.random.default_rng(seed)
    x = rng.integers(0, 2, n)
    time = rng.exponential(1, n) ** np.where(crossing & (x == 1), 0.4, 1.0)
    return time, np.ones(n), np.stack([x, rng.normal(size=n)], axis=1)


def test_proportional_hazards_are_doubted_in_about_5_of_100_series_and_crossing_ones_mostly():
    alike = [proportional_hazards(*_series(seed, False)).p_value[0] < 0.05 for seed in range(100)]
    crossing = [proportional_hazards(*_series(seed, True)).p_value[0] < 0.05 for seed in range(20)]
    assert 1 <= sum(alike) <= 11 and sum(crossing) >= 18


def test_units_order_and_names_change_nothing():
    time, event, x = _series(1, False)
    order = np.random.default_rng(1).permutation(time.size)
    one = proportional_hazards(time, event, x, transform="rank")
    other = proportional_hazards(time[order] * 7, event[order], 5 - 3 * x[order], transform="rank")
    assert_allclose(other.statistic, one.statistic, rtol=1e-6)
    assert_allclose(other.global_statistic, one.global_statistic, rtol=1e-6)


def test_cutting_follow_up_into_stretches_changes_nothing():
    time, event, x = _series(2, True)
    late = time > 0.5
    cut = proportional_hazards(
        np.r_[np.minimum(time, 0.5), time[late]], np.r_[~late, np.ones(late.sum())], np.r_[x, x[late]],
        entry=np.r_[np.zeros(time.size), np.full(late.sum(), 0.5)],
    )  # fmt: skip
    assert_allclose(cut.statistic, proportional_hazards(time, event, x).statistic, rtol=1e-6)


def test_without_a_model_there_is_no_test_and_the_reason_is_passed_on():
    found = proportional_hazards([1, 2], [1, 1], [0, 1])
    assert np.isnan(found.statistic).all() and [note.code for note in found.notes] == ["SMALL_N"]
    endless = proportional_hazards(np.arange(1, 11), np.ones(10), np.repeat([1, 0], 5))
    assert np.isnan(endless.p_value).all() and endless.notes[0].code == "SEPARATION"


def test_an_unknown_transform_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="km, rank, identity"):
        proportional_hazards([1], [1], [1], transform="kaplan")
