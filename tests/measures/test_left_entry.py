import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import time_to_resolution
from necrostats.measures.left_entry import entry_days, entry_notes


def _resolved(day):
    return Course(scans=[(day, 10)], well_on=[day])


def _resolution_at(result, day):
    table = result.table
    return table[(table["days"] == day) & (table["cause"] == "resolved")].iloc[0]


def test_a_referred_patient_is_at_risk_only_from_the_day_after_being_seen():
    """By hand: on day 20 P1 and P3 are at risk, P2 not yet, so 1/2; on day 50 P2 and P3, so 1/2 + 1/2 · 1/2."""
    registry = registry_of(_resolved(20), _resolved(50), Course(last_contact=100))
    result = time_to_resolution(registry, seen_from={"P2": 30}, days=(20, 50))
    assert _resolution_at(result, 20)["at_risk"] == 2
    assert _resolution_at(result, 20)["estimate"] == pytest.approx(1 / 2)
    assert _resolution_at(result, 50)["at_risk"] == 2
    assert _resolution_at(result, 50)["estimate"] == pytest.approx(1 / 2 + 1 / 2 * 1 / 2)
    assert "LEFT_TRUNCATION" in {note.code for note in result.notes}


def test_a_course_that_ended_before_the_patient_was_seen_is_left_out_and_counted():
    result = time_to_resolution(registry_of(_resolved(20), _resolved(50)), seen_from={"p1": 30})
    assert result.population.patients == 1
    assert result.population.left_out["patients whose course had ended before they were seen here"] == 1


def test_nobody_referred_changes_nothing():
    registry = registry_of(_resolved(20), Course(died_on=40), Course(last_contact=60))
    plain, named = time_to_resolution(registry), time_to_resolution(registry, seen_from={"P1": 0})
    assert plain.table.equals(named.table)
    assert entry_notes(np.zeros(3, dtype=np.int64)) == ()


def test_a_patient_that_is_not_there_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="P1"):
        entry_days(registry_of(Course()), {"P9": 3})
