import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import ChoiceError
from necrostats.measures.necrosectomies import necrosectomies, used_by_patient, uses_of


def _each(*courses):
    registry = registry_of(*courses)
    return registry, necrosectomies(registry, outcomes(registry, DOCUMENTED_RESOLUTION))


def test_only_the_last_before_resolution_was_enough_and_later_ones_do_not_count():
    _, each = _each(Course(necrosectomies=[7, 14, 60], scans=[(30, 10)], well_on=[30]))
    assert each.number.tolist() == [1, 2]
    assert each.enough.tolist() == [0, 1]


def test_after_a_death_none_was_enough():
    _, each = _each(Course(necrosectomies=[7, 14], died_on=20))
    assert each.enough.tolist() == [0, 0]


def test_under_treatment_the_last_is_known_only_if_something_came_after_it():
    _, each = _each(
        Course(necrosectomies=[7, 14], scans=[(10, 80)], last_contact=15),
        Course(necrosectomies=[7, 14], scans=[(20, 80)], last_contact=21),
        Course(necrosectomies=[14], scans=[(14, 80)], last_contact=21),
    )
    assert each.patient.tolist() == [0, 0, 1, 1, 2]
    assert each.enough.tolist() == [0, -1, 0, 0, -1]


def test_a_class_named_was_used_and_one_not_named_was_not_unless_something_is_unknown():
    course = Course(
        necrosectomies=[1, 2, 3, 4, 5],
        tools={1: ["snare"], 2: ["net", "snare"], 3: ["net"], 4: ["net", "unknown"], 5: []},
    )
    registry, each = _each(course)
    assert uses_of(registry, "snare")[each.session].tolist() == [1, 1, 0, -1, -1]
    assert uses_of(registry, "net")[each.session].tolist() == [0, 1, 1, 1, -1]


def test_a_patient_used_it_if_any_session_did_and_is_not_known_if_one_may_have():
    registry, each = _each(
        Course(necrosectomies=[1, 2], tools={1: ["snare"]}),
        Course(necrosectomies=[1, 2], tools={1: ["net"]}),
        Course(necrosectomies=[1], tools={1: ["net"]}),
    )
    assert used_by_patient(each.patient, uses_of(registry, "snare")[each.session], 3).tolist() == [1, -1, 0]


def test_a_class_off_the_list_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match='Did you mean "snare"'):
        uses_of(registry_of(Course()), "snares")


def test_nobody_has_none():
    registry = registry_of(Course(necrosectomies=[3])).select([False])
    each = necrosectomies(registry, outcomes(registry, DOCUMENTED_RESOLUTION))
    assert each.session.size == each.enough.size == 0
