import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.errors import ChoiceError
from necrostats.measures import ever_used_trap
from necrostats.measures.ever_used import DIFFERENCE, GAP, MEAN, SHARE
from necrostats.present import chart, describe
from necrostats.registry.codebook import COMPARED_CLASSES
from necrostats.registry.loading import read_registry


def _course(tools):
    """Resolved after the necrosectomies whose instruments are listed, a week apart."""
    days = [7 * (number + 1) for number in range(len(tools))]
    done = 7 * len(tools) + 20
    return Course(
        necrosectomies=days, tools=dict(zip(days, tools, strict=True)), scans=[(done, 10)], well_on=[done],
        last_contact=400,
    )  # fmt: skip


def _row(result, measure, variable):
    table = result.table
    return table[(table["measure"] == measure) & (table["variable"] == variable)].iloc[0]


def test_three_patients_worked_by_hand():
    """Snare in sessions 1 and 3 of a course of 3; never in courses of 1 and 2."""
    result = ever_used_trap(
        registry_of(_course([["snare"], ["net"], ["snare"]]), _course([["net"]]), _course([["net"], ["net"]])), "snare"
    )
    assert _row(result, MEAN, "ever snare")["estimate"] == 3
    assert _row(result, MEAN, "never snare")["estimate"] == 1.5
    assert _row(result, GAP, "ever minus never")["estimate"] == 1.5
    assert _row(result, SHARE, "with snare")[["events", "n"]].tolist() == [1, 2]
    assert _row(result, SHARE, "without snare")[["events", "n"]].tolist() == [2, 4]
    assert _row(result, DIFFERENCE, "all")["estimate"] == pytest.approx(0)


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
    ever, never = _row(result, MEAN, "ever powered debrider"), _row(result, MEAN, "never powered debrider")
    used, without = _row(result, SHARE, "with powered debrider"), _row(result, SHARE, "without powered debrider")
    assert ever["conf_low"] < 5.34 < ever["conf_high"]
    assert never["conf_low"] < 1.73 < never["conf_high"]
    for share in (used, without):
        assert share["estimate"] == pytest.approx(0.35, abs=4 * np.sqrt(0.35 * 0.65 / share["n"]))
    for difference in ("all", "of the same number in their course"):
        row = _row(result, DIFFERENCE, difference)
        assert row["conf_low"] < 0 < row["conf_high"]
    assert f"a mean of {ever['estimate']:.1f} necrosectomies and those never so 1.7, while" in result.notes[0].text


@pytest.fixture(scope="module")
def invented():
    return read_registry(bundled.synthetic_registry() / "tidy")


@pytest.mark.parametrize("instrument", COMPARED_CLASSES)
def test_no_effect_of_any_class_on_resolution_is_covered_in_the_invented_registry(invented, instrument):
    """Nine classes, so at a level of 1 − .05/9."""
    result = ever_used_trap(invented, instrument, level=1 - 0.05 / len(COMPARED_CLASSES))
    row = _row(result, DIFFERENCE, "of the same number in their course")
    assert row["conf_low"] <= 0 <= row["conf_high"]


def test_the_trap_shows_a_gap_in_the_invented_registry_all_the_same(invented):
    result = ever_used_trap(invented, "powered_debrider")
    assert _row(result, GAP, "ever minus never")["conf_low"] > 0
    row = _row(result, DIFFERENCE, "of the same number in their course")
    assert row["conf_low"] < 0 < row["conf_high"]


def test_it_is_one_figure_and_says_the_trap_in_one_sentence(invented):
    result = ever_used_trap(invented, "powered_debrider")
    assert len(chart(result).fig.axes) == 4
    assert result.notes[0].code == "IMMORTAL_TIME"
    assert result.notes[0].text in describe(result)


def test_a_class_that_nobody_used_gives_an_answer_and_no_error():
    result = ever_used_trap(registry_of(*[_course([["net"]])] * 6), "snare")
    assert _row(result, MEAN, "ever snare")["n"] == 0
    assert np.isnan(_row(result, DIFFERENCE, "all")["estimate"])
    assert {"IMMORTAL_TIME", "NO_OVERLAP"} <= {note.code for note in result.notes}
    assert chart(result).alt


def test_nobody_gives_an_empty_answer_and_no_error():
    result = ever_used_trap(registry_of(_course([["net"]])).select([False]), "snare")
    assert result.table["estimate"].isna().all()


def test_a_class_off_the_list_is_refused():
    with pytest.raises(ChoiceError, match="snare, net"):
        ever_used_trap(registry_of(Course()), "laser")
