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
    assert {note.code for note in notes} == {"SMALL_N", "SMALL_RISK_SET"}
    assert "all (2)" in next(note.text for note in notes if note.code == "SMALL_N")


def test_a_landmark_has_a_row_for_each_cause():
    table = _curve(np.array([3, 12]), np.array([1, 2])).table
    assert table.loc[table["days"] == 10, "estimate"].tolist() == pytest.approx([0.5, 0.0])
