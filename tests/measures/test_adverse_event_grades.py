from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from builders.stented import graded, with_events
from necrostats.definitions.adverse_events import comprehensive_complication_index
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import adverse_event_cases, complication_index, event_grades, worst_grades
from necrostats.stats.proportions import clopper_pearson


def _level(result, level, variable=None, group="all"):
    table = result.frame[(result.frame["level"] == level) & (result.frame["group"] == group)]
    return (table if variable is None else table[table["variable"] == variable]).iloc[0]


def test_a_patient_counts_once_with_the_worst_grade():
    base = registry_of(Course(events=[(1, "bleeding"), (2, "sepsis")]), Course())
    result = worst_grades(with_events(base, agree_grade=["IIIa", "II"]))
    row = _level(result, "IIIa")
    exact = clopper_pearson(1, 2)
    assert (row["events"], row["n"]) == (1, 2)
    assert (row["low"], row["high"]) == pytest.approx((exact.low, exact.high))
    assert _level(result, "II")["events"] == 0
    assert _level(result, "no event")["events"] == 1
    assert result.frame["events"].sum() == 2


def test_patients_whose_events_carry_no_grade_are_not_graded_and_the_note_says_so():
    result = worst_grades(graded("II", None))
    assert _level(result, "not graded")["events"] == 1
    assert any("1 of 2 events carry no AGREE grade" in note.text for note in result.notes)


def test_one_scale_is_never_read_as_another_and_two_filled_scales_carry_the_caution():
    registry = with_events(graded("IIIa", "IIIb"), clavien_grade=["IIIb", None])
    result = worst_grades(registry, grading="Clavien–Dindo")
    assert (_level(result, "IIIb")["events"], _level(result, "not graded")["events"]) == (1, 1)
    caution = [note.text for note in result.notes if note.code == "TWO_SCALES"]
    assert len(caution) == 1
    assert "general anaesthesia" in caution[0]
    assert not [note for note in worst_grades(graded("IIIa")).notes if note.code == "TWO_SCALES"]


def test_a_patient_in_whom_nobody_looked_is_left_out_and_counted():
    result = worst_grades(registry_of(Course(unchecked=[0]), Course()))
    assert _level(result, "no event")["n"] == 1
    assert result.population.left_out["patients with no record that adverse events were looked for"] == 1


def test_types_by_grade_add_up_and_the_ungraded_have_their_column():
    base = registry_of(Course(events=[(1, "bleeding"), (2, "sepsis"), (3, "bleeding")]))
    result = event_grades(with_events(base, agree_grade=["II", "V", None]))
    assert _level(result, "II", "bleeding")["events"] == 1
    assert _level(result, "not graded", "bleeding")["events"] == 1
    assert _level(result, "V", "sepsis")["n"] == 1
    total = result.frame[result.frame["variable"] == "any adverse event"]
    assert total["events"].sum() == total["n"].iloc[0] == 3
    assert result.frame["estimate"].isna().all()


def test_groups_keep_their_own_counts_and_empty_ones_stay():
    base = registry_of(Course(events=[(1, "bleeding")]), Course(period="2024Q3"))
    result = event_grades(with_events(base, agree_grade=["II"]), by="period")
    assert _level(result, "II", "bleeding", "2024Q1")["events"] == 1
    assert _level(result, "II", "bleeding", "2024Q2")["n"] == 0


def test_nobody_and_an_unknown_scale():
    empty = registry_of(Course()).select([False])
    assert worst_grades(empty).frame["estimate"].isna().all()
    assert (event_grades(empty).frame["events"] == 0).all()
    with pytest.raises(ChoiceError, match="AGREE"):
        worst_grades(registry_of(Course()), grading="CTCAE")


def _row(result, variable="complication index", group="all"):
    table = result.frame
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


def test_the_case_list_holds_no_identifier_no_date_and_no_age():
    course = Course(events=[(2, "bleeding")], about={"age_years": 67, "infection": "confirmed"})
    table = adverse_event_cases(registry_of(course)).frame
    assert list(table.columns) == [
        "case",
        "age_band",
        "extent_class",
        "event_type",
        "day",
        "agree_grade",
        "attribution",
        "treatment",
    ]
    assert table.loc[0, "age_band"] == "60–74"
    assert "P1" not in table.to_string()
    assert "67" not in table.to_string()
