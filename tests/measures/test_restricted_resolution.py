from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import bootstrap_resolution, restricted_mean_resolution, time_to_resolution
from necrostats.present import chart, table, words


def _resolved(day, sessions=0, **about):
    done = [2 + 2 * number for number in range(sessions)]
    return Course(necrosectomies=done, scans=[(day, 10)], well_on=[day], about=about)


def _row(result, variable, group="all"):
    table = result.frame
    return table[(table["variable"] == variable) & (table["group"] == group)].iloc[0]


def test_with_nobody_censored_the_mean_is_the_plain_mean_with_t_limits_on_the_logit_scale():
    days = np.arange(20, 140, 10)
    row = _row(restricted_mean_resolution(registry_of(*map(_resolved, days.tolist())), tau=180), "before any end")
    share = days.mean() / 180
    half = stats.t.ppf(0.975, days.size - 1) * days.std() / np.sqrt(days.size) / (180 * share * (1 - share))
    assert row["estimate"] == pytest.approx(days.mean())
    expected = 180 * special.expit(special.logit(share) + half * np.array([-1, 1]))
    assert (row["low"], row["high"]) == pytest.approx(tuple(expected))


def test_the_days_before_and_after_each_end_add_up_to_all_days():
    courses = [*map(_resolved, range(20, 140, 10)), Course(died_on=30), Course(surgery_on=50), Course(last_contact=90)]
    table = restricted_mean_resolution(registry_of(*courses), tau=100).frame
    assert table["estimate"].sum() == pytest.approx(100)
    assert list(table["variable"]) == [
        "before any end",
        "after resolution",
        "after death",
        "after surgery",
        "after percutaneous drain",
    ]


def test_a_death_on_day_30_takes_seventy_of_a_hundred_days_of_one_in_four():
    courses = [_resolved(100), _resolved(100), _resolved(100), Course(died_on=30)]
    result = restricted_mean_resolution(registry_of(*courses), tau=100)
    assert _row(result, "after death")["estimate"] == pytest.approx(70 / 4)
    assert _row(result, "after death")["events"] == 1
    assert _row(result, "after resolution")["estimate"] == pytest.approx(0)


def test_by_sessions_the_mean_is_that_of_sessions_used():
    """0, 1, 2 and 3 necrosectomies, the last then operated on: 1.5 used, (5 + 4 + 3) / 4 of 5 spared."""
    lost = Course(necrosectomies=[2, 4, 6], surgery_on=9)
    courses = [*(_resolved(40, sessions) for sessions in range(3)), lost]
    result = restricted_mean_resolution(registry_of(*courses), axis="sessions", tau=5)
    assert _row(result, "before any end")["estimate"] == pytest.approx(1.5)
    assert _row(result, "after resolution")["estimate"] == pytest.approx(3)
    assert _row(result, "after surgery")["estimate"] == pytest.approx(0.5)
    assert _row(result, "before any end")["unit"] == "sessions"


def test_a_group_not_followed_long_enough_has_no_mean_and_a_note():
    result = restricted_mean_resolution(
        registry_of(_resolved(20), Course(scans=[(40, 90)], unwell_on=[40], last_contact=60)), tau=90
    )
    assert np.isnan(_row(result, "after resolution")["estimate"])
    assert [note.code for note in result.notes] == ["NOT_MATURED"]


def test_groups_keep_their_place_and_an_empty_one_is_blank():
    courses = [_resolved(20, sex="male"), _resolved(30, sex="male"), _resolved(90, sex="female"), _resolved(50)]
    result = restricted_mean_resolution(registry_of(*courses), by="sex")
    assert list(result.frame["group"].cat.categories) == ["female", "male", "other"]
    assert _row(result, "before any end", "male")["estimate"] == pytest.approx(25)
    assert _row(result, "before any end", "other")["n"] == 0
    assert result.population.left_out == {"patients without a group": 1}


@pytest.mark.parametrize("axis", ["days", "sessions"])
@pytest.mark.parametrize("courses", [[_resolved(20)], [Course(last_contact=300)] * 6, [_resolved(20)] * 6])
def test_one_patient_nobody_resolved_and_all_at_once_give_an_answer(courses, axis):
    result = restricted_mean_resolution(registry_of(*courses), axis=axis)
    states = {"days": 5, "sessions": 6}[axis]  # by sessions, not resolved within the horizon is an end too
    assert len(result.frame) == states and chart(result).alt and words(result) and len(table(result).frame) == states


def test_what_cannot_be_asked_is_said():
    with pytest.raises(ChoiceError, match="tau is 0"):
        restricted_mean_resolution(registry_of(_resolved(20)), tau=0)
    with pytest.raises(DesignError, match="immortal time"):
        restricted_mean_resolution(registry_of(_resolved(20)), by="ever_snare")


def test_where_a_drain_is_no_failure_it_takes_no_days():
    definition = ResolutionDefinition(name="drain as adjunct", percutaneous_drain="adjunct")
    result = restricted_mean_resolution(registry_of(_resolved(20), _resolved(40)), definition=definition)
    assert "after percutaneous drain" not in set(result.frame["variable"])


@pytest.mark.parametrize("courses", [[_resolved(20)], [Course(last_contact=300)] * 6, [_resolved(20)] * 6])
def test_means_without_limits_are_named(courses):
    result = restricted_mean_resolution(registry_of(*courses))
    assert result.frame["low"].isna().all() and result.frame["estimate"].notna().all()
    [note] = [note for note in result.notes if note.code == "NO_LIMITS"]
    assert "after resolution (all)" in note.text and "after death (all)" in note.text


def test_means_with_limits_are_not_named():
    text = restricted_mean_resolution(registry_of(_resolved(20), _resolved(40))).notes[0].text
    assert "after death (all)" in text and "resolution" not in text


MEDIAN, INCIDENCE, MEAN = (
    "median days to resolution",
    "cumulative incidence of resolution by day 90",
    "mean of the first 180 days after resolution",
)


def _courses():
    return [*map(_resolved, range(20, 140, 4)), Course(died_on=30), Course(surgery_on=50), Course(last_contact=100)]


def _row_bootstrap_resolution(result, measure, way, group="all"):
    table = result.frame
    return table[(table["measure"] == measure) & (table["variable"] == way) & (table["group"] == group)].iloc[0]


def test_both_ways_give_one_estimate_and_that_of_the_measures():
    registry = registry_of(*_courses())
    result = bootstrap_resolution(registry, replicates=50)
    for measure in (MEDIAN, INCIDENCE, MEAN):
        one, two = (_row_bootstrap_resolution(result, measure, way) for way in ("by formula", "by bootstrap"))
        assert one["estimate"] == pytest.approx(two["estimate"], rel=1e-12)
    curve = time_to_resolution(registry)
    known = curve.frame.query("cause == 'resolved' and days == 90").iloc[0]
    row = _row_bootstrap_resolution(result, INCIDENCE, "by formula")
    assert (row["estimate"], row["low"]) == pytest.approx((known["estimate"], known["low"]))
    assert _row_bootstrap_resolution(result, MEDIAN, "by formula")["high"] == curve.medians.loc[0, "high"]
    mean = restricted_mean_resolution(registry).frame.query("variable == 'after resolution'").iloc[0]
    assert _row_bootstrap_resolution(result, MEAN, "by bootstrap")["estimate"] == pytest.approx(mean["estimate"])


def test_the_percentiles_of_a_share_are_those_of_a_binomial():
    """20 of 40 resolved by day 90, nobody censored: 2.5 and 97.5 % of Binomial(40, 1/2) are 14 and 26."""
    courses = [_resolved(40)] * 20 + [_resolved(120)] * 20
    row = _row_bootstrap_resolution(
        bootstrap_resolution(registry_of(*courses), replicates=4000), INCIDENCE, "by bootstrap"
    )
    assert (row["low"], row["high"]) == pytest.approx((0.35, 0.65), abs=1e-9)


def test_the_same_seed_gives_the_same_limits_and_another_seed_others():
    registry = registry_of(*_courses())
    one, two, other = (bootstrap_resolution(registry, replicates=200, seed=seed).frame for seed in (1, 1, 2))
    assert one.equals(two) and not one.equals(other)


def test_fewer_than_ten_patients_have_no_bootstrap_limits_and_a_note_that_names_them():
    result = bootstrap_resolution(
        registry_of(*[_resolved(day, sex="male") for day in range(20, 29)]), by="sex", replicates=20
    )
    assert np.isnan(_row_bootstrap_resolution(result, INCIDENCE, "by bootstrap", "male")["low"])
    assert any(note.text.startswith("male: Only 9 patients") for note in result.notes)
    assert _row_bootstrap_resolution(result, MEDIAN, "by bootstrap", "other")["n"] == 0


def test_by_sessions_the_median_is_a_session_number():
    courses = [_resolved(60, number % 4) for number in range(24)]
    result = bootstrap_resolution(registry_of(*courses), axis="sessions", at=1, tau=4, replicates=100)
    assert _row_bootstrap_resolution(result, "median sessions to resolution", "by bootstrap")["estimate"] == 1
    assert (
        _row_bootstrap_resolution(result, "cumulative incidence of resolution within 1 session", "by formula")[
            "estimate"
        ]
        == 0.5
    )
    assert _row_bootstrap_resolution(result, "mean of the first 4 sessions after resolution", "by formula")[
        "estimate"
    ] == pytest.approx(2.5)


@pytest.mark.parametrize("courses", [[_resolved(20)], [Course(last_contact=300)] * 12, [_resolved(20)] * 12])
def test_one_patient_nobody_resolved_and_all_at_once_give_an_answer_bootstrap_resolution(courses):
    result = bootstrap_resolution(registry_of(*courses), replicates=20)
    assert len(result.frame) == 6 and chart(result).alt and words(result) and len(table(result).frame) == 6


def test_another_axis_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="days, sessions"):
        bootstrap_resolution(registry_of(_resolved(20)), axis="weeks")


@pytest.mark.parametrize(
    ("courses", "limits"),
    [
        ([Course(last_contact=300)] * 12, (0, 0.264648)),
        ([_resolved(day) for day in range(20, 34)], (1 - 0.231636, 1)),
    ],
)
def test_a_share_of_nobody_or_everybody_has_the_exact_limit_either_way(courses, limits):
    """Clopper–Pearson for 0 of 12 and 14 of 14: 1 − 0.025^(1 / n)."""
    result = bootstrap_resolution(registry_of(*courses), replicates=200)
    for way in ("by formula", "by bootstrap"):
        row = _row_bootstrap_resolution(result, INCIDENCE, way)
        assert (row["low"], row["high"]) == pytest.approx(limits, abs=5e-7)
    assert not any(INCIDENCE in note.text for note in result.notes if note.code == "NO_LIMITS")


def test_the_formula_is_said_without_exact_limits_that_it_does_not_have():
    result = bootstrap_resolution(registry_of(*_courses()), replicates=20)
    assert "Clopper" not in result.method.interval and "log-log" in result.method.interval
