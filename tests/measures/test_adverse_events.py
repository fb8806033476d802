import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import adverse_event_cases, adverse_event_rates


def _row(result, unit, variable="any adverse event", group="all"):
    table = result.table
    return table[(table["unit"] == unit) & (table["variable"] == variable) & (table["group"] == group)].iloc[0]


def test_one_patient_with_two_bleeds_counts_once_per_patient_and_twice_per_session():
    course = Course(necrosectomies=[10, 20], events=[(10, "bleeding"), (21, "bleeding")])
    result = adverse_event_rates(registry_of(course, Course()))
    assert tuple(_row(result, "patients")[["events", "n"]]) == (1, 2)
    assert tuple(_row(result, "sessions")[["events", "n"]]) == (2, 4)


def test_two_events_after_one_session_are_one_session_with_an_event():
    course = Course(necrosectomies=[10], events=[(10, "bleeding"), (11, "perforation")])
    result = adverse_event_rates(registry_of(course))
    assert _row(result, "sessions")["events"] == 1
    assert _row(result, "100 patient-days")["events"] == 2
    assert _row(result, "sessions", "perforation")["events"] == 1
    assert _row(result, "sessions", "sepsis")["events"] == 0


def test_patient_days_run_over_the_windows_once_and_stop_at_the_last_contact():
    """Sessions on days 0 and 10, seen to day 25: days 0 to 25, both included."""
    course = Course(necrosectomies=[10], last_contact=25)
    assert _row(adverse_event_rates(registry_of(course)), "100 patient-days")["n"] == 26
    apart = Course(necrosectomies=[100], last_contact=200)
    assert _row(adverse_event_rates(registry_of(apart)), "100 patient-days")["n"] == 62


def test_an_event_after_the_window_is_counted_as_left_out():
    result = adverse_event_rates(registry_of(Course(events=[(31, "bleeding")])))
    assert _row(result, "patients")["events"] == 0
    assert result.population.left_out["events after the window"] == 1
    inside = adverse_event_rates(registry_of(Course(events=[(30, "bleeding")])))
    assert _row(inside, "patients")["events"] == 1


def test_an_unchecked_session_leaves_the_denominator_and_the_text_says_so():
    course = Course(necrosectomies=[10, 20], unchecked=[10])
    result = adverse_event_rates(registry_of(course))
    assert _row(result, "sessions")["n"] == 2
    assert any("1 of 3 sessions are out of every denominator" in note.text for note in result.notes)


def test_an_unchecked_session_with_a_recorded_event_was_looked_at():
    course = Course(necrosectomies=[10], unchecked=[10], events=[(12, "bleeding")])
    assert _row(adverse_event_rates(registry_of(course)), "sessions")["n"] == 2


def test_no_event_in_thirty_patients_leaves_11_6_percent_compatible():
    """0 of 30: upper 97.5 % limit 11.6 % (1 - 0.025 ** (1/30))."""
    result = adverse_event_rates(registry_of(*[Course()] * 30))
    row = _row(result, "patients")
    assert row["conf_low"] == 0
    assert row["conf_high"] == pytest.approx(1 - 0.025 ** (1 / 30), abs=1e-12)
    assert "ZERO_EVENTS" in {note.code for note in result.notes}


def test_groups_of_sessions_have_their_own_denominators():
    result = adverse_event_rates(
        registry_of(Course(), Course(period="2024Q3", events=[(2, "bleeding")])), by="period"
    )
    assert list(result.table["group"].cat.categories) == ["2024Q1", "2024Q2", "2024Q3"]
    assert _row(result, "sessions", group="2024Q3")["events"] == 1
    assert _row(result, "sessions", group="2024Q2")["n"] == 0
    assert np.isnan(_row(result, "sessions", group="2024Q2")["estimate"])


def test_an_unknown_event_type_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="bleeding"):
        adverse_event_rates(registry_of(Course()), event_type="bleed")


def test_the_case_list_holds_no_identifier_no_date_and_no_age():
    course = Course(events=[(2, "bleeding")], about={"age_years": 67, "infection": "confirmed"})
    table = adverse_event_cases(registry_of(course)).table
    assert list(table.columns) == [
        "case", "age_band", "extent_class", "event_type", "day", "agree_grade", "attribution", "treatment",
    ]  # fmt: skip
    assert table.loc[0, "age_band"] == "60–74"
    assert "P1" not in table.to_string()


def test_nobody_gives_an_empty_answer_and_no_error():
    result = adverse_event_rates(registry_of(Course()).select([False]))
    assert result.table["estimate"].isna().all()
