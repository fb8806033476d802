from __future__ import annotations

import numpy as np
import pytest

from necrostats.errors import StatisticsError
from necrostats.stats import checks


@pytest.mark.parametrize("level", [0, 1, 95, -0.5, float("nan"), [0.9, 0.95], "high"])
def test_a_level_outside_0_to_1_is_refused(level):
    with pytest.raises(StatisticsError, match="level"):
        checks.confidence_level(level)


def test_a_wrong_value_is_named_with_its_place_and_how_many_more_there_are():
    with pytest.raises(StatisticsError, match=r"events number 2: 1.5 is not a whole number\. \(1 more like it\.\)"):
        checks.counts("events", [1, 1.5, 2.5])


def test_a_single_wrong_value_has_no_place():
    with pytest.raises(StatisticsError, match=r"^n: -1 is below 0\.$"):
        checks.counts("n", -1)


@pytest.mark.parametrize("bad", [[1, None], [1, np.nan], [1, np.inf]])
def test_missing_and_infinite_values_are_refused(bad):
    with pytest.raises(StatisticsError, match=r"number 2.*missing or infinite"):
        checks.finite("exposure", bad)


def test_words_are_refused_in_plain_words():
    with pytest.raises(StatisticsError, match="exposure holds text"):
        checks.finite("exposure", ["many"])
    with pytest.raises(StatisticsError, match="exposure holds something that is not a number"):
        checks.finite("exposure", [{}])


def test_arrays_that_do_not_line_up_are_named_with_their_lengths():
    with pytest.raises(StatisticsError, match=r"time 3, cause 2"):
        checks.one_length(time=[1, 2, 3], cause=[0, 1], entry=None)


@pytest.mark.parametrize("bad", [["a", None], np.array([1.0, np.nan]), ["a", float("nan")]])
def test_a_missing_label_is_refused(bad):
    with pytest.raises(StatisticsError, match="number 2"):
        checks.labels("cluster", np.array(bad, dtype=object) if isinstance(bad, list) else bad)


def test_whole_times_stay_whole_and_others_do_not():
    assert checks.times("time", [1.0, 2.0]).dtype.kind == "i"
    assert checks.times("time", [1.0, 2.5]).dtype.kind == "f"


def test_a_negative_whole_time_is_refused():
    with pytest.raises(StatisticsError, match="time number 2: -3 is below 0"):
        checks.times("time", np.array([1, -3]))
