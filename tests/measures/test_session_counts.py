from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.registry_files import faultless, write_folder
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import ChoiceError
from necrostats.measures import naive_mean_sessions, session_states, sessions_to_resolution
from necrostats.measures.session_counts import (
    counted_sessions,
    last_assessed,
    necrosectomies,
    session_notes,
    used_by_patient,
    uses_of,
)
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import SET_ASIDE_COLUMNS


def _resolved(**more):
    return Course(necrosectomies=[7, 14], scans=[(30, 10)], well_on=[30], **more)


def _under_treatment():
    return Course(necrosectomies=[7], scans=[(20, 90)], last_contact=40)


def _set_aside(*rows):
    blank = dict.fromkeys(SET_ASIDE_COLUMNS, "")
    about = [blank | {"table": "sessions", "scope": "row", "rule": "REQUIRED", "row": 2} | row for row in rows]
    return pd.DataFrame(about).astype({"row": "Int64"})


def _counted(registry):
    return counted_sessions(registry, outcomes(registry, DOCUMENTED_RESOLUTION))


def test_a_patient_of_whom_a_session_was_set_aside_is_censored_at_the_number_known():
    counted = _counted(registry_of(_resolved(), _resolved(), set_aside=_set_aside({"patient_id": "P1"})))
    assert counted.sessions.tolist() == [2, 2]
    assert counted.cause.tolist() == [0, 1]
    assert (counted.lower_bounds, counted.ends_open) == (1, 1)


def test_a_word_for_word_copy_that_was_set_aside_loses_no_session():
    copy = _set_aside({"patient_id": "P1", "rule": "DUPLICATE_ROW"})
    counted = _counted(registry_of(_resolved(), set_aside=copy))
    assert counted.cause.tolist() == [1]
    assert counted.lower_bounds == 0


def test_a_cell_or_a_row_of_another_table_that_was_set_aside_loses_no_session():
    cell = {"patient_id": "P1", "scope": "cell", "column": "passes"}
    other = _set_aside(cell, {"patient_id": "P1", "table": "scans"})
    assert _counted(registry_of(_resolved(), set_aside=other)).lower_bounds == 0


def test_how_many_ends_are_not_counted_is_said_since_the_day_of_a_row_set_aside_is_not_known():
    aside = _set_aside({"patient_id": "P1"}, {"patient_id": "P1"}, {"patient_id": "P3"})
    [note] = session_notes(_counted(registry_of(_resolved(), _resolved(), _under_treatment(), set_aside=aside)))
    assert note.code == "MISSING"
    assert note.text == (
        "2 patients are counted only in part, since sessions were set aside: censored at the number of sessions known. "
        "1 of these had resolved or come to another end, which does not count: whether a session that was set aside "
        "lies before that end or after it is not known."
    )


def test_nothing_is_said_of_ends_where_those_counted_in_part_are_still_under_treatment():
    aside = _set_aside({"patient_id": "P1"})
    [note] = session_notes(_counted(registry_of(_under_treatment(), set_aside=aside)))
    assert note.text.endswith("censored at the number of sessions known.")


@pytest.mark.parametrize("measure", [sessions_to_resolution, session_states, naive_mean_sessions])
def test_every_measure_by_session_number_says_it(measure):
    registry = registry_of(_resolved(), _resolved(), set_aside=_set_aside({"patient_id": "P1"}))
    assert any("1 of these had resolved" in note.text for note in measure(registry).notes)


def test_the_last_assessment_is_a_scan_with_a_size_or_a_review_with_an_answer_up_to_the_end():
    seen = Course(scans=[(10, 90), (50, float("nan"))], unwell_on=[20], last_contact=60)
    after_the_end = Course(scans=[(30, 10), (90, 5)], well_on=[30])
    registry = registry_of(seen, after_the_end, Course(last_contact=3))
    assert last_assessed(registry, outcomes(registry, DOCUMENTED_RESOLUTION)).tolist() == [20, 30, -1]


@pytest.mark.parametrize(("changes", "in_part"), [({}, 0), ({"day": "9"}, 1)])
def test_of_a_session_read_twice_word_for_word_nothing_is_lost_and_of_two_that_differ_one_may_be(
    tmp_path, changes, in_part
):
    tables = faultless()
    tables["sessions"].append({**tables["sessions"][1], **changes})
    registry = read_registry(write_folder(tmp_path, tables))
    assert "sessions" in set(registry.set_aside["table"])
    assert _counted(registry).lower_bounds == in_part


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


@pytest.mark.parametrize(("scan", "sessions"), [(13, 1), (14, 1), (15, 2)])
def test_a_scan_on_the_day_of_the_last_session_does_not_show_whether_it_was_enough(scan, sessions):
    registry = registry_of(Course(necrosectomies=[7, 14], scans=[(scan, 80)], last_contact=20))
    assert counted_sessions(registry, outcomes(registry, DOCUMENTED_RESOLUTION)).sessions.tolist() == [sessions]


@pytest.mark.parametrize(("day", "sessions"), [(29, 2), (30, 2), (31, 1)])
def test_a_necrosectomy_on_the_day_of_resolution_counts(day, sessions):
    course = Course(necrosectomies=[7, day], scans=[(30, 10)], well_on=[30])
    assert _counted(registry_of(course)).sessions.tolist() == [sessions]
