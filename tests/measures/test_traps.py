from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.errors import ChoiceError
from necrostats.measures import competing_ends_trap, ever_used_trap, naive_mean_sessions, time_to_resolution
from necrostats.measures.traps import DIFFERENCE, GAP, MEAN, NAIVE, NAIVE_MEAN, SHARE
from necrostats.present import chart, words
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.loading import read_registry


def _at(result, day, cause):
    table = result.frame
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
        if b < d
        else Course(died_on=int(d), observed=5000)
        for b, d in zip(better, dead, strict=True)
    ]
    result = competing_ends_trap(registry_of(*courses))
    for cause, truth in (("resolved", right), (NAIVE, 1 - np.exp(-one * 180))):
        row = _at(result, 180, cause)
        assert row["low"] < truth < row["high"]
    assert _at(result, 180, "resolved")["high"] < _at(result, 180, NAIVE)["low"]


def test_without_competing_ends_both_are_the_same():
    registry = registry_of(*[Course(scans=[(day, 10)], well_on=[day]) for day in (20, 40, 60)], Course(last_contact=30))
    result = competing_ends_trap(registry, days=(30, 50))
    for day in (30, 50):
        assert _at(result, day, NAIVE)["estimate"] == pytest.approx(_at(result, day, "resolved")["estimate"])


def test_the_right_one_is_that_of_time_to_resolution():
    registry = registry_of(*[Course(scans=[(day, 10)], well_on=[day]) for day in (20, 40)], Course(died_on=30))
    right = time_to_resolution(registry)
    both = competing_ends_trap(registry)
    kept = right.frame[right.frame["cause"] == "resolved"]
    shown = both.frame[both.frame["cause"].astype(str) == "resolved"]
    assert shown["estimate"].to_numpy() == pytest.approx(kept["estimate"].to_numpy(), nan_ok=True)
    assert both.notes[0].code == "COMPETING_AS_CENSORED"


def test_it_is_never_said_as_a_result_and_never_stacked():
    registry = registry_of(*[Course(scans=[(day, 10)], well_on=[day]) for day in (20, 40, 60, 70)], Course(died_on=30))
    result = competing_ends_trap(registry)
    assert "would have resolved by 1 − Kaplan–Meier, which is not to be reported" in words(result)
    assert chart(result).alt
    with pytest.raises(ChoiceError, match="cannot be stacked"):
        chart(result, stacked=True)


def test_nobody_gives_an_empty_answer_and_no_error():
    result = competing_ends_trap(registry_of(Course()).select([False]))
    assert result.frame["estimate"].isna().all()


def _days(count):
    return [7 * (number + 1) for number in range(count)]


def _resolved_after(count, **more):
    done = 7 * count + 20
    return Course(necrosectomies=_days(count), scans=[(done, 10)], well_on=[done], **more)


def _dead_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], died_on=7 * count + 5)


def _still_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], last_contact=7 * count + 4)


def _row(result, measure, group="all"):
    table = result.frame
    return table[(table["measure"] == measure) & (table["group"] == group)].iloc[0]


def test_the_mean_among_the_resolved_and_the_restricted_mean_of_all_worked_by_hand():
    """Resolved after 1, 1, 2, dead after 3, under treatment after 4: (1+1+2)/3, and S = 1, 3/5, 2/5, 1/5, 1/5."""
    registry = registry_of(*[_resolved_after(k) for k in (1, 1, 2)], _dead_after(3), _still_after(4))
    result = naive_mean_sessions(registry, up_to=4)
    naive, whole = _row(result, NAIVE_MEAN), _row(result, "restricted mean necrosectomies of all, up to 4")
    assert (naive["estimate"], naive["n"]) == (pytest.approx(4 / 3), 3)
    assert (whole["estimate"], whole["n"]) == (pytest.approx(1 + 3 / 5 + 2 / 5 + 1 / 5), 5)


def test_what_the_naive_mean_leaves_out_is_counted():
    registry = registry_of(*[_resolved_after(k) for k in (1, 1, 2)], _dead_after(3), _still_after(4))
    text = next(note.text for note in naive_mean_sessions(registry).notes if note.code == "COMPETING_AS_CENSORED")
    assert "leaves out 2 patients of 5: 1 ended by death, 0 ended by surgery" in text
    assert "1 not resolved when last seen, with 7 necrosectomies between them" in text


def test_geometric_sessions_with_drop_out_show_the_known_bias():
    """p = .30, drop-out .15 a session: among the resolved 1/(1 − .7 × .85) = 2.47, in truth 1/.3 = 3.33."""
    draw = np.random.default_rng(20240301)
    needed, seen = draw.geometric(0.30, 3000), draw.geometric(0.15, 3000)
    courses = [_resolved_after(n) if n <= d else _still_after(d) for n, d in zip(needed, seen, strict=True)]
    result = naive_mean_sessions(registry_of(*courses), up_to=8)
    assert round(1 / (1 - 0.7 * 0.85), 2) == 2.47
    assert _row(result, NAIVE_MEAN)["estimate"] == pytest.approx(2.469, abs=3 * 1.9 / np.sqrt(1900))
    truth = (1 - 0.7**8) / 0.3
    row = _row(result, "restricted mean necrosectomies of all, up to 8")
    assert row["low"] < truth < row["high"]


def test_groups_have_a_row_each_and_empty_ones_stay():
    courses = [_resolved_after(1, about={"sex": "female"}), _resolved_after(3, about={"sex": "male"})]
    result = naive_mean_sessions(registry_of(*courses), by="sex")
    assert _row(result, NAIVE_MEAN, "male")["estimate"] == 3
    assert _row(result, NAIVE_MEAN, "other")["n"] == 0
    assert np.isnan(_row(result, NAIVE_MEAN, "other")["estimate"])


def test_nobody_gives_an_empty_answer_and_no_error_naive_sessions():
    result = naive_mean_sessions(registry_of(_resolved_after(1)).select([False]))
    assert result.frame["estimate"].isna().all()


def test_a_restricted_mean_that_cannot_be_given_or_has_no_limits_says_why():
    unseen = naive_mean_sessions(registry_of(*[Course(last_contact=100)] * 3))
    assert any("nobody with a scan or review" in note.text for note in unseen.notes)
    assert any("only 0 in a group" in note.text for note in unseen.notes)
    alike = naive_mean_sessions(registry_of(*[_resolved_after(2)] * 6))
    [note] = [note for note in alike.notes if note.code == "NO_LIMITS"]
    assert note.text.startswith("No limits for restricted mean necrosectomies of all, up to 8 (all)")


def _course(tools):
    """Resolved after the necrosectomies whose instruments are listed, a week apart."""
    days = [7 * (number + 1) for number in range(len(tools))]
    done = 7 * len(tools) + 20
    return Course(
        necrosectomies=days,
        tools=dict(zip(days, tools, strict=True)),
        scans=[(done, 10)],
        well_on=[done],
        last_contact=400,
    )


def _row_ever_used(result, measure, variable):
    table = result.frame
    return table[(table["measure"] == measure) & (table["variable"] == variable)].iloc[0]


def test_three_patients_worked_by_hand():
    """Snare in sessions 1 and 3 of a course of 3; never in courses of 1 and 2."""
    result = ever_used_trap(
        registry_of(_course([["snare"], ["net"], ["snare"]]), _course([["net"]]), _course([["net"], ["net"]])), "snare"
    )
    assert _row_ever_used(result, MEAN, "ever snare")["estimate"] == 3
    assert _row_ever_used(result, MEAN, "never snare")["estimate"] == 1.5
    assert _row_ever_used(result, GAP, "ever minus never")["estimate"] == 1.5
    assert _row_ever_used(result, SHARE, "with snare")[["events", "n"]].tolist() == [1, 2]
    assert _row_ever_used(result, SHARE, "without snare")[["events", "n"]].tolist() == [2, 4]
    assert _row_ever_used(result, DIFFERENCE, "all")["estimate"] == pytest.approx(0)


def test_what_is_not_recorded_is_left_out_and_counted():
    unseen = Course(necrosectomies=[7], tools={7: ["snare"]}, last_contact=8)
    result = ever_used_trap(registry_of(_course([["snare"]]), _course([[]]), unseen, Course()), "snare")
    assert dict(result.population.left_out) == {
        "patients without a necrosectomy": 1,
        "patients, from the means, of whom it is not recorded whether it was used": 1,
        "necrosectomies, from the shares, without a recorded instrument class": 1,
        "necrosectomies, from the shares, after which nothing showed whether they were enough": 1,
    }


def test_no_effect_at_all_shows_the_known_gap_between_ever_and_never():
    """Resolution .35 a session; B in half of all sessions from the third: means 5.34 and 1.73, and .35 either way."""
    draw = np.random.default_rng(20240302)
    patients = 2500
    courses = []
    for needed in draw.geometric(0.35, patients):
        with_b = (np.arange(needed) >= 2) & (draw.random(needed) < 0.5)
        courses.append(_course([["powered_debrider"] if each else ["snare"] for each in with_b]))
    result = ever_used_trap(registry_of(*courses), "powered_debrider")
    ever, never = (
        _row_ever_used(result, MEAN, "ever powered debrider"),
        _row_ever_used(result, MEAN, "never powered debrider"),
    )
    used, without = (
        _row_ever_used(result, SHARE, "with powered debrider"),
        _row_ever_used(result, SHARE, "without powered debrider"),
    )
    assert ever["low"] < 5.34 < ever["high"]
    assert never["low"] < 1.73 < never["high"]
    for share in (used, without):
        assert share["estimate"] == pytest.approx(0.35, abs=4 * np.sqrt(0.35 * 0.65 / share["n"]))
    for difference in ("all", "of the same number in their course"):
        row = _row_ever_used(result, DIFFERENCE, difference)
        assert row["low"] < 0 < row["high"]
    assert f"a mean of {ever['estimate']:.1f} necrosectomies and those never so 1.7, while" in result.notes[0].text


@pytest.fixture(scope="module")
def invented():
    return read_registry(bundled.synthetic_registry() / "tidy")


@pytest.mark.parametrize("instrument", COMPARED_CLASSES)
def test_no_effect_of_any_class_on_resolution_is_covered_in_the_invented_registry(invented, instrument):
    """Nine classes, so at a level of 1 − .05/9."""
    result = ever_used_trap(invented, instrument, level=1 - 0.05 / len(COMPARED_CLASSES))
    row = _row_ever_used(result, DIFFERENCE, "of the same number in their course")
    assert row["low"] <= 0 <= row["high"]


def test_the_trap_shows_a_gap_in_the_invented_registry_all_the_same(invented):
    result = ever_used_trap(invented, "powered_debrider")
    assert _row_ever_used(result, GAP, "ever minus never")["low"] > 0
    row = _row_ever_used(result, DIFFERENCE, "of the same number in their course")
    assert row["low"] < 0 < row["high"]


def test_it_is_one_figure_and_says_the_trap_in_one_sentence(invented):
    result = ever_used_trap(invented, "powered_debrider")
    assert len(chart(result).fig.axes) == 4
    assert result.notes[0].code == "IMMORTAL_TIME"
    assert result.notes[0].text in words(result)


def test_a_class_that_nobody_used_gives_an_answer_and_no_error():
    result = ever_used_trap(registry_of(*[_course([["net"]])] * 6), "snare")
    assert _row_ever_used(result, MEAN, "ever snare")["n"] == 0
    assert np.isnan(_row_ever_used(result, DIFFERENCE, "all")["estimate"])
    assert {"IMMORTAL_TIME", "NO_OVERLAP"} <= {note.code for note in result.notes}
    assert chart(result).alt


def test_nobody_gives_an_empty_answer_and_no_error_ever_used():
    result = ever_used_trap(registry_of(_course([["net"]])).select([False]), "snare")
    assert result.frame["estimate"].isna().all()


def test_a_class_off_the_list_is_refused():
    with pytest.raises(ChoiceError, match="snare, net"):
        ever_used_trap(registry_of(Course()), "laser")
