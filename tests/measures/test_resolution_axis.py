import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import ChoiceError
from necrostats.measures.resolution_axis import DAYS, SESSIONS, by_point, courses_along, named_point, named_tau


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
        "by day 90", "within 1 session", "within 3 sessions",
    )  # fmt: skip


@pytest.mark.parametrize(("ask", "value"), [(named_point, 1.5), (named_point, -1), (named_tau, 0)])
def test_a_point_that_is_no_whole_number_or_too_low_is_refused(ask, value):
    with pytest.raises(ChoiceError, match="a whole number of days or sessions"):
        ask(DAYS, value)


def test_another_axis_is_refused_with_those_there_are():
    with pytest.raises(ChoiceError, match="days, sessions"):
        _along("weeks")
