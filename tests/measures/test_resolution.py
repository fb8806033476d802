from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import session_states, sessions_to_resolution, time_to_resolution
from necrostats.measures.resolution import DAYS, SESSIONS, by_point, courses_along, named_point, named_tau
from necrostats.present import chart, table, words
from necrostats.registry.tables import SET_ASIDE_COLUMNS


def _resolved(day, **about):
    return Course(scans=[(day, 10)], well_on=[day], about=about)


def _at(result, day, cause="resolved", group="all"):
    table = result.frame
    return table[(table["days"] == day) & (table["cause"] == cause) & (table["group"] == group)].iloc[0]


def test_ten_patients_worked_by_hand():
    """Aalen–Johansen by hand, three causes: 0.608333, 0.1 and 0.116667 by day 70; deaths at 25, surgery at 40."""
    censored = [Course(last_contact=day) for day in (30, 60, 80)]
    resolved = [_resolved(day) for day in (20, 30, 35, 50, 70)]
    result = time_to_resolution(
        registry_of(*censored, *resolved, Course(died_on=25), Course(surgery_on=40)), days=(70,)
    )
    assert _at(result, 70)["estimate"] == pytest.approx(0.608333, abs=5e-7)
    assert _at(result, 70, "death")["estimate"] == pytest.approx(0.1, abs=5e-7)
    assert _at(result, 70, "surgery")["estimate"] == pytest.approx(0.116667, abs=5e-7)


def test_every_named_day_has_a_row_even_when_nothing_happened_on_it():
    result = time_to_resolution(registry_of(_resolved(20), _resolved(100)))
    assert {0, 30, 60, 90, 180} <= set(result.frame["days"])
    assert _at(result, 60)["estimate"] == 0.5
    assert _at(result, 60)["events"] == 0
    assert _at(result, 60)["at_risk"] == 1


def test_nothing_is_estimated_beyond_the_last_time_anybody_was_followed():
    result = time_to_resolution(registry_of(_resolved(20), Course(last_contact=40)))
    assert _at(result, 30)["estimate"] == 0.5
    assert np.isnan(_at(result, 60)["estimate"])


def test_a_complete_course_is_known_to_the_horizon():
    result = time_to_resolution(registry_of(_resolved(20), Course(died_on=40)))
    assert _at(result, 180)["estimate"] == 0.5


def test_with_nobody_censored_and_few_patients_the_interval_is_clopper_pearson():
    """1 of 10 by day 20: 0.25 % to 44.50 % (Clopper–Pearson, beta quantiles)."""
    result = time_to_resolution(registry_of(*[_resolved(20 + number) for number in range(10)]), days=(20,))
    row = _at(result, 20)
    assert (row["low"], row["high"]) == pytest.approx((0.002529, 0.445016), abs=5e-7)


def test_groups_with_nobody_stay_in_the_table():
    result = time_to_resolution(registry_of(_resolved(20, sex="female"), _resolved(30, sex="male")), by="sex")
    assert list(result.frame["group"].cat.categories) == ["female", "male", "other"]
    assert np.isnan(_at(result, 180, group="other")["estimate"])
    assert _at(result, 20, group="female")["estimate"] == 1


def test_a_patient_without_a_group_is_left_out_and_counted():
    result = time_to_resolution(registry_of(_resolved(20, sex="female"), _resolved(30)), by="sex")
    assert result.population.patients == 1
    assert result.population.left_out["patients without a group"] == 1


@pytest.mark.parametrize("later", ["instrument_class", "vital_status", "clearance"])
def test_something_known_only_later_is_refused_as_a_group(later):
    with pytest.raises(DesignError, match="immortal time"):
        time_to_resolution(registry_of(_resolved(20)), by=later)


def test_a_misspelt_group_is_answered_with_the_nearest():
    with pytest.raises(ChoiceError, match='Did you mean "aetiology"'):
        time_to_resolution(registry_of(_resolved(20)), by="etiology")


def test_the_definition_travels_with_the_result():
    loose = ResolutionDefinition(name="50 mm", reference="invented for a test", size_mm=50, symptom_free=False)
    result = time_to_resolution(registry_of(Course(scans=[(60, 45)])), definition=loose)
    assert _at(result, 60)["estimate"] == 1
    assert "at most 50 mm" in result.method.definition


def test_the_order_and_the_names_of_patients_change_nothing():
    courses = [_resolved(20), Course(died_on=25), _resolved(70), Course(last_contact=50)]
    one = time_to_resolution(registry_of(*courses)).frame
    two = time_to_resolution(registry_of(*courses[::-1])).frame
    assert one.equals(two)


def test_collections_are_counted_with_the_patients_that_are():
    result = time_to_resolution(registry_of(_resolved(20, sex="female"), *[_resolved(30)] * 4), by="sex")
    assert (result.population.patients, result.population.collections) == (1, 1)


def _days(count):
    return [7 * (number + 1) for number in range(count)]


def _resolved_after(count):
    done = 7 * count + 20
    return Course(necrosectomies=_days(count), scans=[(done, 10)], well_on=[done])


def _dead_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], died_on=7 * count + 5)


def _last_assessed_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], last_contact=7 * count + 4)


def _incidence(result, cause="resolved"):
    table = result.frame[result.frame["cause"] == cause]
    return dict(zip(table["sessions"], table["estimate"], strict=True))


def test_twelve_patients_worked_by_hand():
    """Worked by hand as a discrete life table with deaths competing: 1,1,2,2 resolved, 2 censored, 3 resolved, …"""
    courses = [_resolved_after(k) for k in (1, 1, 2, 2)] + [_last_assessed_after(2), _resolved_after(3)]
    courses += [_dead_after(3), _last_assessed_after(3), _resolved_after(4), _resolved_after(4)]
    courses += [_dead_after(5), _resolved_after(6)]
    result = sessions_to_resolution(registry_of(*courses))
    resolved, died = _incidence(result), _incidence(result, "death")
    expected = {1: 0.1667, 2: 0.3333, 3: 0.4286, 4: 0.6667, 5: 0.6667, 6: 0.7857}
    for sessions, value in expected.items():
        assert resolved[sessions] == pytest.approx(value, abs=5e-5)
    assert [died[k] for k in (3, 5)] == pytest.approx([0.0952, 0.2143], abs=5e-5)
    assert resolved[0] == 0


def test_a_patient_last_seen_before_anything_showed_whether_the_session_was_enough_leaves_before_it():
    unseen = Course(necrosectomies=[7, 14], scans=[(10, 90)], last_contact=15)
    result = sessions_to_resolution(registry_of(unseen, *[_resolved_after(2)] * 3))
    at_two = result.frame[(result.frame["sessions"] == 2) & (result.frame["cause"] == "resolved")]
    assert at_two["at_risk"].item() == 3
    assert at_two["estimate"].item() == 1.0
    assert any("last seen before anything showed" in note.text for note in result.notes)


def test_a_patient_never_assessed_after_drainage_is_left_out_and_counted():
    result = sessions_to_resolution(registry_of(Course(last_contact=3), _resolved_after(1)))
    assert result.population.patients == 1
    assert dict(result.population.left_out) == {"patients with no scan or review after the index drainage": 1}


def test_drainage_alone_counts_as_no_session():
    result = sessions_to_resolution(registry_of(Course(scans=[(40, 0)], well_on=[40]), _resolved_after(1)))
    assert _incidence(result)[0] == 0.5


def test_a_session_after_resolution_is_not_counted():
    course = Course(necrosectomies=[7, 60], scans=[(30, 10)], well_on=[30])
    result = sessions_to_resolution(registry_of(course))
    assert _incidence(result)[1] == 1.0


def test_the_median_is_the_first_session_number_that_half_reach():
    result = sessions_to_resolution(registry_of(*[_resolved_after(k) for k in (1, 2, 3, 4, 5)]))
    resolved = result.medians[result.medians["cause"] == "resolved"]
    assert resolved["estimate"].item() == 3


def test_a_median_that_was_not_reached_is_said():
    result = sessions_to_resolution(registry_of(_dead_after(1), _dead_after(2), _resolved_after(1)))
    assert result.medians.loc[result.medians["cause"] == "resolved", "estimate"].isna().all()
    assert "NOT_REACHED" in {note.code for note in result.notes}


def test_incidences_and_event_free_share_add_to_one_without_censoring():
    result = sessions_to_resolution(registry_of(_dead_after(1), _resolved_after(2), _resolved_after(1)))
    last = result.frame[result.frame["sessions"] == 2]
    assert last["estimate"].sum() == pytest.approx(1.0)


def test_nobody_gives_an_empty_answer_and_no_error():
    nobody = registry_of(_resolved_after(1)).select([False])
    result = sessions_to_resolution(nobody)
    assert result.population.patients == 0
    assert np.isnan(result.frame["estimate"]).all()


def test_a_median_that_half_reach_exactly_is_that_session_and_not_the_middle_of_the_stretch():
    result = sessions_to_resolution(registry_of(*[_resolved_after(k) for k in (1, 2, 4, 5)]))
    assert result.medians.loc[result.medians["cause"] == "resolved", "estimate"].item() == 2


def test_a_scan_without_a_size_does_not_show_that_a_session_was_not_enough():
    unsized = Course(necrosectomies=[10], scans=[(30, float("nan"))], last_contact=31)
    result = sessions_to_resolution(registry_of(unsized, _resolved_after(1)))
    at_one = result.frame[(result.frame["sessions"] == 1) & (result.frame["cause"] == "resolved")].iloc[0]
    assert (at_one["at_risk"], at_one["estimate"]) == (1, 1.0)


def _unresolved_at_the_horizon(count, last_contact):
    return Course(necrosectomies=_days(count), scans=[(170, 90)], last_contact=last_contact)


def test_with_nobody_lost_the_curves_by_session_and_by_day_end_at_the_same_share():
    """272 patients followed to day 180 and beyond, 20 of them unresolved: 252/272 = 92.6 % on both axes."""
    courses = [_resolved_after(number % 6) for number in range(252)]
    courses += [_unresolved_at_the_horizon(1 + number % 5, 200) for number in range(20)]
    registry = registry_of(*courses)
    by_session, by_day = sessions_to_resolution(registry), time_to_resolution(registry)
    assert _at(by_day, 180)["estimate"] == pytest.approx(252 / 272)
    assert _share(by_session, "resolved", 8) == pytest.approx(252 / 272)
    assert _share(by_session, "not resolved within 180 days", 8) == pytest.approx(20 / 272)


@pytest.mark.parametrize(("last_contact", "ended"), [(179, 0), (180, 1), (181, 1)])
def test_only_who_is_seen_unresolved_on_the_horizon_day_itself_ends_there(last_contact, ended):
    registry = registry_of(_unresolved_at_the_horizon(2, last_contact), _resolved_after(2))
    frame = sessions_to_resolution(registry).frame
    here = frame[frame["cause"].astype(str) == "not resolved within 180 days"]
    assert here["events"].sum() == ended


def _resolved_after_standing(count):
    done = 7 * count + 20
    return Course(necrosectomies=_days(count), scans=[(done, 10)], well_on=[done], about={"sex": "male"})


def _operated_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], surgery_on=7 * count + 5)


def _still_after(count):
    return Course(necrosectomies=_days(count), scans=[(7 * count + 3, 90)], last_contact=7 * count + 4)


def _share(result, cause, sessions):
    table = result.frame
    return table[(table["cause"].astype(str) == cause) & (table["sessions"] == sessions)]["estimate"].item()


def test_four_patients_worked_by_hand():
    registry = registry_of(
        _resolved_after_standing(0), _resolved_after_standing(2), _operated_after(1), _resolved_after_standing(2)
    )
    result = session_states(registry, up_to=2)
    ended = "death, surgery, percutaneous drain or not resolved within 180 days"
    assert [_share(result, "resolved", k) for k in (0, 1, 2)] == pytest.approx([0.25, 0.25, 0.75])
    assert [_share(result, ended, k) for k in (0, 1, 2)] == pytest.approx([0, 0.25, 0.25])
    assert [_share(result, "still needing more", k) for k in (0, 1, 2)] == pytest.approx([0.75, 0.5, 0])


def test_the_three_shares_add_up_to_one_with_patients_still_under_treatment():
    courses = [_resolved_after_standing(k) for k in (0, 1, 1, 2, 3, 5)] + [
        _operated_after(2),
        _still_after(1),
        _still_after(3),
    ]
    result = session_states(registry_of(*courses))
    totals = result.frame.groupby("sessions")["estimate"].sum(min_count=3).dropna()
    assert totals.to_numpy() == pytest.approx(np.ones(len(totals)))


def test_resolution_is_that_of_sessions_to_resolution():
    registry = registry_of(*[_resolved_after_standing(k) for k in (0, 1, 1, 2)], _operated_after(1), _still_after(2))
    states, curve = session_states(registry).frame, sessions_to_resolution(registry).frame
    for frame in (states, curve):
        assert frame[frame["cause"].astype(str) == "resolved"]["estimate"].iloc[1] == pytest.approx(3 / 6)


def test_with_nobody_censored_and_few_patients_those_who_remain_have_clopper_pearson_limits():
    """3 of 4 remain after drainage alone: 19.41 % to 99.37 % (Clopper–Pearson, beta quantiles)."""
    registry = registry_of(*[_resolved_after_standing(k) for k in (0, 1, 1, 2)])
    table = session_states(registry).frame
    row = table[(table["cause"].astype(str) == "still needing more") & (table["sessions"] == 0)].iloc[0]
    assert (row["low"], row["high"]) == pytest.approx((0.194120, 0.993691), abs=5e-7)


def test_a_drain_that_is_an_adjunct_is_no_end():
    definition = ResolutionDefinition(name="x", percutaneous_drain="adjunct")
    otherwise = "death, surgery or not resolved within 180 days"
    result = session_states(registry_of(_resolved_after_standing(1)), definition=definition)
    assert list(result.frame["cause"].cat.categories) == ["resolved", otherwise, "still needing more"]


def test_it_is_drawn_stacked_and_says_all_three_shares():
    """6 of 14 (Clopper–Pearson 17.66 to 71.14 %)."""
    courses = [_resolved_after_standing(k) for k in (0, 1, 1, 2, 2, 3)]
    result = session_states(registry_of(*courses, *courses, _operated_after(1), _operated_after(1)))
    in_order = (
        "From the bottom: resolved, death, surgery, percutaneous drain or not resolved within 180 days, "
        "still needing more"
    )
    assert in_order in chart(result).caption
    assert "43 % (18–71 %) still needed more" in words(result, at=1)
    assert list(table(result).frame.columns)[-1].startswith("Still needing more")


def test_nobody_gives_an_empty_answer_and_no_error_standing():
    result = session_states(registry_of(_resolved_after_standing(1)).select([False]))
    assert result.frame["estimate"].isna().all()
    assert "Nobody at risk" in words(result) or "Nobody was at risk" in words(result)
    assert chart(result).alt


def test_who_is_at_risk_and_who_is_left_out_is_said_as_for_sessions_to_resolution():
    registry = registry_of(_resolved_after_standing(1), Course(last_contact=3))
    states, curve = session_states(registry), sessions_to_resolution(registry)
    assert states.population == curve.population
    assert states.method.estimator.split("; ")[1] == curve.method.estimator.split("; ")[1]
    assert (states.method.interval, states.method.references) == (curve.method.interval, curve.method.references)
    assert dict(states.population.left_out) == {"patients with no scan or review after the index drainage": 1}


def _registry():
    """Resolved on day 30 after 2 sessions, dead on day 20 after 1, never assessed, resolved on day 40 without any."""
    return registry_of(
        Course(necrosectomies=[7, 14], scans=[(30, 10)], well_on=[30], about={"sex": "female"}),
        Course(necrosectomies=[7], died_on=20, about={"sex": "male"}),
        Course(last_contact=3, about={"sex": "male"}),
        Course(scans=[(40, 0)], well_on=[40]),
    )


def _along(axis, by=None):
    return courses_along(_registry(), axis, by, DOCUMENTED_RESOLUTION)


def test_along_days_everybody_counts_from_the_index_drainage():
    courses = _along(DAYS)
    assert courses.time.tolist() == [30, 20, 3, 40]
    assert courses.cause.tolist() == [1, 2, 0, 1]
    assert courses.known.all() and courses.population.patients == 4
    assert (courses.sizes.tolist(), courses.resolved.tolist()) == ([4], [2])


def test_along_sessions_a_patient_never_assessed_is_left_out_and_said():
    courses = _along(SESSIONS)
    assert courses.time[courses.known].tolist() == [2, 1, 0]
    assert courses.known.tolist() == [True, True, False, True]
    assert dict(courses.population.left_out) == {"patients with no scan or review after the index drainage": 1}


def test_groups_hold_those_with_a_group_and_the_curve_those_groups_with_anybody_in_them():
    courses = _along(DAYS, "sex")
    assert courses.groups.labels == ("female", "male", "other")
    assert (courses.sizes.tolist(), courses.resolved.tolist()) == ([1, 2, 0], [1, 0, 0])
    assert dict(courses.population.left_out) == {"patients without a group": 1}
    assert courses.labels_of(courses.known).tolist() == ["female", "male", "male"]
    curve = courses.curve(0.95)
    assert curve.table.groups.tolist() == ["female", "male"]
    assert curve.estimate[0, 0, -1] == 1.0


def test_nobody_gives_an_empty_curve():
    nobody = courses_along(_registry().select(np.zeros(4, dtype=bool)), SESSIONS, None, DOCUMENTED_RESOLUTION)
    assert nobody.population.patients == 0
    assert nobody.curve(0.95).estimate.size == 0


def test_points_are_the_usual_ones_unless_asked_for():
    assert (named_point(DAYS, None), named_point(SESSIONS, None), named_point(DAYS, 30)) == (90, 3, 30)
    assert (named_tau(DAYS, None), named_tau(SESSIONS, None), named_tau(SESSIONS, 5)) == (180, 8, 5)
    assert (by_point(DAYS, 90), by_point(SESSIONS, 1), by_point(SESSIONS, 3)) == (
        "by day 90",
        "within 1 session",
        "within 3 sessions",
    )


@pytest.mark.parametrize(("ask", "value"), [(named_point, 1.5), (named_point, -1), (named_tau, 0)])
def test_a_point_that_is_no_whole_number_or_too_low_is_refused(ask, value):
    with pytest.raises(ChoiceError, match="a whole number of days or sessions"):
        ask(DAYS, value)


def test_another_axis_is_refused_with_those_there_are():
    with pytest.raises(ChoiceError, match="days, sessions"):
        _along("weeks")


def test_patients_of_whom_no_scan_or_review_shows_anything_are_counted():
    registry = registry_of(
        Course(scans=[(40, 20)], well_on=[41]),
        Course(scans=[(40, 20)]),
        Course(well_on=[41]),
        Course(),
        Course(died_on=9),
    )
    (said,) = [note.text for note in time_to_resolution(registry).notes if "no scan after day 0" in note.text]
    assert said.startswith("3 patients have")


def test_interventions_that_could_not_be_read_are_said_since_one_may_have_ended_a_course():
    aside = pd.DataFrame([dict.fromkeys(SET_ASIDE_COLUMNS, "") | {"table": "other_interventions", "scope": "row"}] * 2)
    aside = aside.assign(row=pd.array([2, 3], dtype="Int64"))
    result = time_to_resolution(registry_of(_resolved(20), set_aside=aside))
    assert any(note.text.startswith("2 rows of other_interventions could not be read") for note in result.notes)


@pytest.mark.parametrize(
    ("course", "never"),
    [
        (Course(drain_on=9), ["surgery"]),
        (Course(surgery_on=9), ["percutaneous drain"]),
        (Course(surgery_on=9, drain_on=12), []),
        (Course(), []),
    ],
)
def test_an_end_that_no_row_of_other_interventions_is_may_not_be_kept_there(course, never):
    texts = [note.text for note in time_to_resolution(registry_of(_resolved(20), course)).notes]
    assert [text for text in texts if "only if it is kept there" in text] == [
        f"No row of other_interventions is {end}: none is right only if it is kept there." for end in never
    ]
