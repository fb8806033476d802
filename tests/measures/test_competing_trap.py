import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import competing_ends_trap, time_to_resolution
from necrostats.measures.competing_trap import NAIVE
from necrostats.present import chart, describe


def _at(result, day, cause):
    table = result.table
    return table[(table["days"] == day) & (table["cause"].astype(str) == cause)].iloc[0]


def test_ten_patients_worked_by_hand():
    """Right: 0.608333 by day 70; 1 − Kaplan–Meier with the death and the surgery censored: 0.753906 …"""
    censored = [Course(last_contact=day) for day in (30, 60, 80)]
    resolved = [Course(scans=[(day, 10)], well_on=[day]) for day in (20, 30, 35, 50, 70)]
    registry = registry_of(*censored, *resolved, Course(died_on=25), Course(surgery_on=40))
    result = competing_ends_trap(registry, days=(70,))
    assert _at(result, 70, "resolved")["estimate"] == pytest.approx(0.608333, abs=5e-7)
    assert _at(result, 70, NAIVE)["estimate"] == pytest.approx(1 - 9 / 10 * 7 / 8 * 5 / 6 * 3 / 4 * 1 / 2)
    assert "By day 70 it says 75 % where 61 % resolved." in result.notes[0].text


def test_constant_hazards_give_the_known_numbers():
    """Medians 40 and 160 days: by day 180 0.8 (1 − 2^−5.625) = 0.784, and 1 − 2^−4.5 = 0.956."""
    one, two = np.log(2) / 40, np.log(2) / 160
    right = one / (one + two) * (1 - np.exp(-(one + two) * 180))
    assert (round(right, 3), round(1 - np.exp(-one * 180), 3)) == (0.784, 0.956)
    draw = np.random.default_rng(20240303)
    better, dead = np.ceil(draw.exponential(1 / one, 2000)), np.ceil(draw.exponential(1 / two, 2000))
    courses = [
        Course(scans=[(int(b), 5)], well_on=[int(b)], last_contact=5000, observed=5000)
        if b < d else Course(died_on=int(d), observed=5000)
        for b, d in zip(better, dead, strict=True)
    ]  # fmt: skip
    result = competing_ends_trap(registry_of(*courses))
    for cause, truth in (("resolved", right), (NAIVE, 1 - np.exp(-one * 180))):
        row = _at(result, 180, cause)
        assert row["conf_low"] < truth < row["conf_high"]
    assert _at(result, 180, "resolved")["conf_high"] < _at(result, 180, NAIVE)["conf_low"]


def test_without_competing_ends_both_are_the_same():
    registry = registry_of(*[Course(scans=[(day, 10)], well_on=[day]) for day in (20, 40, 60)], Course(last_contact=30))
    result = competing_ends_trap(registry, days=(30, 50))
    for day in (30, 50):
        assert _at(result, day, NAIVE)["estimate"] == pytest.approx(_at(result, day, "resolved")["estimate"])


def test_the_right_one_is_that_of_time_to_resolution():
    registry = registry_of(*[Course(scans=[(day, 10)], well_on=[day]) for day in (20, 40)], Course(died_on=30))
    right = time_to_resolution(registry)
    both = competing_ends_trap(registry)
    kept = right.table[right.table["cause"] == "resolved"]
    shown = both.table[both.table["cause"].astype(str) == "resolved"]
    assert shown["estimate"].to_numpy() == pytest.approx(kept["estimate"].to_numpy(), nan_ok=True)
    assert both.notes[0].code == "COMPETING_AS_CENSORED"


def test_it_is_never_said_as_a_result_and_never_stacked():
    registry = registry_of(*[Course(scans=[(day, 10)], well_on=[day]) for day in (20, 40, 60, 70)], Course(died_on=30))
    result = competing_ends_trap(registry)
    assert "would have resolved by 1 − Kaplan–Meier, which is not to be reported" in describe(result)
    assert chart(result).alt
    with pytest.raises(ChoiceError, match="cannot be stacked"):
        chart(result, stacked=True)


def test_nobody_gives_an_empty_answer_and_no_error():
    result = competing_ends_trap(registry_of(Course()).select([False]))
    assert result.table["estimate"].isna().all()
