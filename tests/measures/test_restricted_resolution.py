import numpy as np
import pytest
from scipy import special, stats

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import restricted_mean_resolution
from necrostats.present import chart, describe, tabulate


def _resolved(day, sessions=0, **about):
    done = [2 + 2 * number for number in range(sessions)]
    return Course(necrosectomies=done, scans=[(day, 10)], well_on=[day], about=about)


def _row(result, variable, group="all"):
    table = result.table
    return table[(table["variable"] == variable) & (table["group"] == group)].iloc[0]


def test_with_nobody_censored_the_mean_is_the_plain_mean_with_t_limits_on_the_logit_scale():
    days = np.arange(20, 140, 10)
    row = _row(restricted_mean_resolution(registry_of(*map(_resolved, days.tolist())), tau=180), "before any end")
    share = days.mean() / 180
    half = stats.t.ppf(0.975, days.size - 1) * days.std() / np.sqrt(days.size) / (180 * share * (1 - share))
    assert row["estimate"] == pytest.approx(days.mean())
    expected = 180 * special.expit(special.logit(share) + half * np.array([-1, 1]))
    assert (row["conf_low"], row["conf_high"]) == pytest.approx(tuple(expected))


def test_the_days_before_and_after_each_end_add_up_to_all_days():
    courses = [*map(_resolved, range(20, 140, 10)), Course(died_on=30), Course(surgery_on=50), Course(last_contact=90)]
    table = restricted_mean_resolution(registry_of(*courses), tau=100).table
    assert table["estimate"].sum() == pytest.approx(100)
    assert list(table["variable"]) == [
        "before any end", "after resolution", "after death", "after surgery", "after percutaneous drain",
    ]  # fmt: skip


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
    result = restricted_mean_resolution(registry_of(_resolved(20), Course(last_contact=60)), tau=90)
    assert np.isnan(_row(result, "after resolution")["estimate"])
    assert [note.code for note in result.notes] == ["NOT_MATURED"]


def test_groups_keep_their_place_and_an_empty_one_is_blank():
    courses = [_resolved(20, sex="male"), _resolved(30, sex="male"), _resolved(90, sex="female"), _resolved(50)]
    result = restricted_mean_resolution(registry_of(*courses), by="sex")
    assert list(result.table["group"].cat.categories) == ["female", "male", "other"]
    assert _row(result, "before any end", "male")["estimate"] == pytest.approx(25)
    assert _row(result, "before any end", "other")["n"] == 0
    assert result.population.left_out == {"patients without a group": 1}


@pytest.mark.parametrize("axis", ["days", "sessions"])
@pytest.mark.parametrize("courses", [[_resolved(20)], [Course(last_contact=300)] * 6, [_resolved(20)] * 6])
def test_one_patient_nobody_resolved_and_all_at_once_give_an_answer(courses, axis):
    result = restricted_mean_resolution(registry_of(*courses), axis=axis)
    assert len(result.table) == 5 and chart(result).alt and describe(result) and len(tabulate(result).frame) == 5


def test_what_cannot_be_asked_is_said():
    with pytest.raises(ChoiceError, match="tau is 0"):
        restricted_mean_resolution(registry_of(_resolved(20)), tau=0)
    with pytest.raises(DesignError, match="immortal time"):
        restricted_mean_resolution(registry_of(_resolved(20)), by="ever_snare")


def test_where_a_drain_is_no_failure_it_takes_no_days():
    definition = ResolutionDefinition(name="drain as adjunct", percutaneous_drain="adjunct")
    result = restricted_mean_resolution(registry_of(_resolved(20), _resolved(40)), definition=definition)
    assert "after percutaneous drain" not in set(result.table["variable"])


@pytest.mark.parametrize("courses", [[_resolved(20)], [Course(last_contact=300)] * 6, [_resolved(20)] * 6])
def test_means_without_limits_are_named(courses):
    result = restricted_mean_resolution(registry_of(*courses))
    assert result.table["conf_low"].isna().all() and result.table["estimate"].notna().all()
    [note] = [note for note in result.notes if note.code == "NO_LIMITS"]
    assert "after resolution (all)" in note.text and "after death (all)" in note.text


def test_means_with_limits_are_not_named():
    text = restricted_mean_resolution(registry_of(_resolved(20), _resolved(40))).notes[0].text
    assert "after death (all)" in text and "resolution" not in text
