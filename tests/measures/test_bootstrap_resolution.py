import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import bootstrap_resolution, restricted_mean_resolution, time_to_resolution
from necrostats.present import chart, describe, tabulate

MEDIAN, INCIDENCE, MEAN = (
    "median days to resolution", "cumulative incidence of resolution by day 90",
    "mean of the first 180 days after resolution",
)  # fmt: skip


def _resolved(day, sessions=0, **about):
    done = [2 + 2 * number for number in range(sessions)]
    return Course(necrosectomies=done, scans=[(day, 10)], well_on=[day], about=about)


def _courses():
    return [*map(_resolved, range(20, 140, 4)), Course(died_on=30), Course(surgery_on=50), Course(last_contact=100)]


def _row(result, measure, way, group="all"):
    table = result.table
    return table[(table["measure"] == measure) & (table["variable"] == way) & (table["group"] == group)].iloc[0]


def test_both_ways_give_one_estimate_and_that_of_the_measures():
    registry = registry_of(*_courses())
    result = bootstrap_resolution(registry, replicates=50)
    for measure in (MEDIAN, INCIDENCE, MEAN):
        one, two = (_row(result, measure, way) for way in ("by formula", "by bootstrap"))
        assert one["estimate"] == pytest.approx(two["estimate"], rel=1e-12)
    curve = time_to_resolution(registry)
    known = curve.table.query("cause == 'resolved' and days == 90").iloc[0]
    row = _row(result, INCIDENCE, "by formula")
    assert (row["estimate"], row["conf_low"]) == pytest.approx((known["estimate"], known["conf_low"]))
    assert _row(result, MEDIAN, "by formula")["conf_high"] == curve.medians.loc[0, "conf_high"]
    mean = restricted_mean_resolution(registry).table.query("variable == 'after resolution'").iloc[0]
    assert _row(result, MEAN, "by bootstrap")["estimate"] == pytest.approx(mean["estimate"])


def test_the_percentiles_of_a_share_are_those_of_a_binomial():
    """20 of 40 resolved by day 90, nobody censored: 2.5 and 97.5 % of Binomial(40, 1/2) are 14 and 26."""
    courses = [_resolved(40)] * 20 + [_resolved(120)] * 20
    row = _row(bootstrap_resolution(registry_of(*courses), replicates=4000), INCIDENCE, "by bootstrap")
    assert (row["conf_low"], row["conf_high"]) == pytest.approx((0.35, 0.65), abs=1e-9)


def test_the_same_seed_gives_the_same_limits_and_another_seed_others():
    registry = registry_of(*_courses())
    one, two, other = (bootstrap_resolution(registry, replicates=200, seed=seed).table for seed in (1, 1, 2))
    assert one.equals(two) and not one.equals(other)


def test_fewer_than_ten_patients_have_no_bootstrap_limits_and_a_note_that_names_them():
    result = bootstrap_resolution(
        registry_of(*[_resolved(day, sex="male") for day in range(20, 29)]), by="sex", replicates=20
    )
    assert np.isnan(_row(result, INCIDENCE, "by bootstrap", "male")["conf_low"])
    assert any(note.text.startswith("male: Only 9 patients") for note in result.notes)
    assert _row(result, MEDIAN, "by bootstrap", "other")["n"] == 0


def test_by_sessions_the_median_is_a_session_number():
    courses = [_resolved(60, number % 4) for number in range(24)]
    result = bootstrap_resolution(registry_of(*courses), axis="sessions", at=1, tau=4, replicates=100)
    assert _row(result, "median sessions to resolution", "by bootstrap")["estimate"] == 1
    assert _row(result, "cumulative incidence of resolution within 1 session", "by formula")["estimate"] == 0.5
    assert _row(result, "mean of the first 4 sessions after resolution", "by formula")["estimate"] == pytest.approx(2.5)


@pytest.mark.parametrize("courses", [[_resolved(20)], [Course(last_contact=300)] * 12, [_resolved(20)] * 12])
def test_one_patient_nobody_resolved_and_all_at_once_give_an_answer(courses):
    result = bootstrap_resolution(registry_of(*courses), replicates=20)
    assert len(result.table) == 6 and chart(result).alt and describe(result) and len(tabulate(result).frame) == 6


def test_another_axis_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="days, sessions"):
        bootstrap_resolution(registry_of(_resolved(20)), axis="weeks")


@pytest.mark.parametrize("courses", [[Course(last_contact=300)] * 12, [_resolved(day) for day in range(20, 34)]])
def test_a_share_of_nobody_or_everybody_has_no_limits_either_way_and_notes(courses):
    """14 of 14 resolved one by one: rounding once made this 1 (1 to 1)."""
    result = bootstrap_resolution(registry_of(*courses), replicates=200)
    for way in ("by formula", "by bootstrap"):
        assert np.isnan(_row(result, INCIDENCE, way)[["conf_low", "conf_high"]].astype(float)).all()
    texts = [note.text for note in result.notes if note.code == "NO_LIMITS"]
    assert any(INCIDENCE in text for text in texts) and any("Every resample" in text for text in texts)


def test_the_formula_is_said_without_exact_limits_that_it_does_not_have():
    result = bootstrap_resolution(registry_of(*_courses()), replicates=20)
    assert "Clopper" not in result.method.interval and "log-log" in result.method.interval
