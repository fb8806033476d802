import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.measures.curves import incidence
from necrostats.measures.grouping import one_group


def _curve(time, cause, landmarks=(10,)):
    return incidence(
        time, cause, one_group(len(time)), ("resolved", "death"), axis="days", landmarks=landmarks, level=0.95
    )


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 2)), min_size=1, max_size=40))
def test_counts_add_up_and_limits_hold_the_estimate(subjects):
    time, cause = (np.array(each) for each in zip(*subjects, strict=True))
    table = _curve(time, cause).table
    resolved = table[table["cause"] == "resolved"]
    assert table["events"].sum() + resolved["censored"].sum() == len(subjects)
    known = table.dropna(subset=["conf_low", "conf_high"])
    assert (known["conf_low"] <= known["estimate"] + 1e-12).all()
    assert (known["estimate"] <= known["conf_high"] + 1e-12).all()
    assert table["estimate"].dropna().between(0, 1).all()


def test_few_subjects_are_named_in_a_note():
    notes = _curve(np.array([3, 4]), np.array([1, 2])).notes
    assert {note.code for note in notes} == {"SMALL_N", "SMALL_RISK_SET", "MEDIAN_ON_PLATEAU"}
    assert "all (2)" in next(note.text for note in notes if note.code == "SMALL_N")


def test_a_landmark_has_a_row_for_each_cause():
    table = _curve(np.array([3, 12]), np.array([1, 2])).table
    assert table.loc[table["days"] == 10, "estimate"].tolist() == pytest.approx([0.5, 0.0])


def _median(time, cause=None):
    cause = np.ones(len(time), dtype=int) if cause is None else np.array(cause)
    medians = _curve(np.array(time), cause, landmarks=(90,)).medians
    return medians.iloc[0][["estimate", "conf_low", "conf_high"]].tolist()


@pytest.mark.parametrize("n", [12, 40])
def test_when_everybody_resolves_on_one_day_the_median_and_its_limits_are_that_day(n):
    assert _median([50] * n) == [50, 50, 50]


def test_where_everybody_resolved_the_upper_limit_of_the_median_is_a_day_and_not_open():
    """16 of 40 by day 50 is 40 %, 24.9 % to 56.7 % by the exact limits; all by day 60."""
    assert _median([50] * 16 + [60] * 24) == [60, 50, 60]


def test_the_limits_of_a_median_are_where_the_exact_band_shown_passes_one_half():
    """Of 12 with an end on days 1 to 12 the binomial limits first pass one half at 3 (57.2 %) and 10 (51.6 %)."""
    assert _median(range(1, 13)) == [6.5, 3, 10]


def test_an_exact_band_that_does_not_pass_one_half_gives_no_interval():
    estimate, *limits = _median([50] * 5)
    assert estimate == 50 and np.isnan(limits).all()


@settings(deadline=None, derandomize=True, max_examples=60)
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 2)), min_size=1, max_size=50))
def test_a_median_lies_between_its_limits(subjects):
    time, cause = zip(*subjects, strict=True)
    estimate, low, high = _median(time, cause)
    assert np.isnan(low) or np.isnan(estimate) or low <= estimate
    assert np.isnan(high) or estimate <= high
    assert not np.isnan(low) or np.isnan(high)


def test_none_has_the_exact_upper_limit_until_somebody_is_censored():
    """0 of 40: at most 8.81 % (1 − 0.025^(1/40))."""
    table = _curve(np.array([20, *[30] * 39]), np.array([0, *[1] * 39]), landmarks=(10, 25)).table
    deaths = table[table["cause"] == "death"].set_index("days")
    assert deaths.loc[[0, 10, 20], "conf_high"].tolist() == pytest.approx([0.088097] * 3, abs=5e-7)
    assert deaths.loc[10, "conf_low"] == 0 and deaths.loc[[25, 30], ["conf_low", "conf_high"]].isna().all(axis=None)


def test_a_median_not_reached_allows_for_short_follow_up():
    notes = {note.code: note.text for note in _curve(np.full(6, 5), np.zeros(6, dtype=int)).notes}
    assert "followed too short a time, or fewer than half resolved (all)" in notes["NOT_REACHED"]
