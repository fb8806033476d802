import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.measures import sessions_to_resolution


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
    table = result.table[result.table["cause"] == cause]
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
    at_two = result.table[(result.table["sessions"] == 2) & (result.table["cause"] == "resolved")]
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
    last = result.table[result.table["sessions"] == 2]
    assert last["estimate"].sum() == pytest.approx(1.0)


def test_nobody_gives_an_empty_answer_and_no_error():
    nobody = registry_of(_resolved_after(1)).select([False])
    result = sessions_to_resolution(nobody)
    assert result.population.patients == 0
    assert np.isnan(result.table["estimate"]).all()


def test_a_median_that_half_reach_exactly_is_that_session_and_not_the_middle_of_the_stretch():
    result = sessions_to_resolution(registry_of(*[_resolved_after(k) for k in (1, 2, 4, 5)]))
    assert result.medians.loc[result.medians["cause"] == "resolved", "estimate"].item() == 2


def test_a_scan_without_a_size_does_not_show_that_a_session_was_not_enough():
    unsized = Course(necrosectomies=[10], scans=[(30, float("nan"))], last_contact=31)
    result = sessions_to_resolution(registry_of(unsized, _resolved_after(1)))
    at_one = result.table[(result.table["sessions"] == 1) & (result.table["cause"] == "resolved")].iloc[0]
    assert (at_one["at_risk"], at_one["estimate"]) == (1, 1.0)
