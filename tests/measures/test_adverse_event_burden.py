import numpy as np
import pytest

from builders.courses import Course, registry_of
from builders.stented import graded, with_events
from necrostats.definitions.complications import comprehensive_complication_index
from necrostats.errors import DesignError
from necrostats.measures import complication_index


def _row(result, variable="complication index", group="all"):
    table = result.table
    return table[(table["variable"] == variable) & (table["group"] == group)].iloc[0]


def test_the_median_is_over_all_patients_and_beside_it_over_those_with_an_event():
    base = registry_of(Course(events=[(2, "bleeding"), (3, "sepsis")]), Course(), Course())
    result = complication_index(with_events(base, clavien_grade=["II", "IIIa"]))
    assert (_row(result)["estimate"], _row(result)["n"]) == (0, 3)
    affected = _row(result, "complication index of those with an event")
    assert affected["estimate"] == pytest.approx(comprehensive_complication_index(["II", "IIIa"]))


def test_an_ungraded_event_leaves_no_index_unless_another_was_fatal():
    result = complication_index(graded("II", None, column="clavien_grade"))
    assert (_row(result)["n"], _row(result)["missing"]) == (1, 1)
    assert any("1 event has no Clavien–Dindo grade" in note.text for note in result.notes)


def test_agree_grades_are_never_used_for_it():
    assert _row(complication_index(graded("V")))["n"] == 0


def test_no_event_is_zero_only_where_somebody_looked():
    result = complication_index(registry_of(Course(unchecked=[0]), Course()))
    assert (_row(result)["n"], _row(result)["missing"]) == (1, 1)
    assert any("1 patient with no record" in note.text for note in result.notes)


def test_a_quarter_alone_is_refused_and_nobody_is_an_empty_answer():
    with pytest.raises(DesignError, match="narrowed"):
        complication_index(registry_of(Course()).during("2024Q1"))
    assert np.isnan(_row(complication_index(registry_of(Course()).select([False])))["estimate"])
