from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.resolution import DAYS, SESSIONS, courses_along
from necrostats.measures.resolution_contrasts import (
    Sides,
    differences,
    event_free_log_rank,
    gray,
    hazard_ratios,
    named,
    p_words,
    size_notes,
)
from necrostats.results import Note


def _on(sex, *days):
    return [Course(necrosectomies=[1], scans=[(day, 10)], well_on=[day], about={"sex": sex}) for day in days]


def _sides(*courses, base="male", axis=DAYS):
    along = courses_along(registry_of(*courses), axis, "sex", DOCUMENTED_RESOLUTION)
    return Sides(courses=along, base=along.groups.labels.index(base), strata=None, level=0.95)


WOMEN, MEN = _on("female", 10, 20, 30, 40, 50), _on("male", 30, 50, 60, 70, 80)


def test_the_difference_in_incidence_and_in_mean_days_worked_by_hand():
    """By day 35 three of 5 women and one of 5 men: 40 points. Resolved days up to 60: women 30 on average, men 8."""
    sides = _sides(*WOMEN, *MEN)
    [(incidence, mean)] = differences(sides, 35, 60).values()
    assert incidence.measure == "difference in incidence by day 35"
    assert incidence.estimate == pytest.approx(0.4)
    assert incidence.low < 0 < incidence.estimate < incidence.high
    assert mean.measure == "difference in mean days resolved up to day 60"
    assert mean.estimate == pytest.approx(30 - 8)


def test_the_other_way_round_the_sign_turns():
    there = differences(_sides(*WOMEN, *MEN, base="female"), 35, 60)
    assert [each[0].estimate for each in there.values()] == pytest.approx([-0.4])


def test_groups_of_fewer_than_five_are_not_compared_and_nothing_is_if_the_reference_is_one():
    assert differences(_sides(*WOMEN[:4], *MEN), 35, 60) == {}
    assert differences(_sides(*WOMEN, *MEN[:4]), 35, 60) == {}
    sides = _sides(*WOMEN, *MEN)
    assert (sides.reference, sides.others(5), sides.others(6)) == ("male", [0], [])


def test_the_log_rank_test_worked_by_hand():
    """Two women die on days 1 and 2, two men on 3 and 4, six stay: O − E by hand over the four deaths."""
    sides = _sides(*WOMEN, *MEN)
    day, happened = np.array([1, 2, 9, 9, 9, 3, 4, 9, 9, 9]), np.array([1, 1, 0, 0, 0, 1, 1, 0, 0, 0], dtype=bool)
    at_risk = [(5, 10), (4, 9), (3, 8), (3, 7)]
    excess = 2 - sum(women / everybody for women, everybody in at_risk)
    variance = sum(women * (everybody - women) / everybody**2 for women, everybody in at_risk)
    found = event_free_log_rank(sides, day, happened)
    assert found.statistic == pytest.approx(excess**2 / variance)
    assert found.test.endswith("χ² on 1 degree of freedom")


def test_a_test_needs_two_groups_of_five():
    found = gray(_sides(*WOMEN[:4], *MEN))
    assert np.isnan(found.p_value) and found.test == ""


@pytest.mark.parametrize("axis", [DAYS, SESSIONS])
def test_groups_of_fewer_than_ten_have_no_hazard_ratio(axis):
    assert hazard_ratios(_sides(*WOMEN, *MEN, axis=axis), 8).by_group == {}


def test_who_resolves_sooner_has_the_larger_hazard():
    quick, slow = _on("female", *range(10, 70, 5)), _on("male", *range(30, 150, 10))
    [found] = hazard_ratios(_sides(*quick, *slow), 8).by_group.values()
    assert found.measure == "hazard ratio of resolution"
    assert 1 < found.low < found.estimate < found.high
    [back] = hazard_ratios(_sides(*quick, *slow, base="female"), 8).by_group.values()
    assert back.estimate == pytest.approx(1 / found.estimate)


def test_sizes_are_said_by_what_they_rule_out():
    sides = _sides(*WOMEN[:4], *MEN, *[Course(about={"sex": "other"}) for _ in range(12)])
    assert [note.text for note in size_notes(sides.courses)] == [
        "Patients fewer than 5: nothing is compared: female (4).",
        "Patients fewer than 10: no hazard ratio: male (5).",
        "Patients fewer than 20: intervals are approximate, read with care: other (12).",
    ]


def test_covariates_known_by_number_get_their_names_and_those_beyond_them_are_strata():
    notes = named((Note(code="SEPARATION", text="No event with covariate 1, 3."),), ["female", "other"])
    assert notes[0].text == "No event with female, a stratum."


@pytest.mark.parametrize(
    ("p", "said"), [(0.0004, "p < 0.001"), (0.02345, "p = 0.023"), (0.5, "p = 0.5"), (float("nan"), "p not known")]
)
def test_a_p_value_is_never_nought(p, said):
    assert p_words(p) == said
