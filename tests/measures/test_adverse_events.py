"""Adverse events over every denominator, the notes they carry, and the intervals."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError
from necrostats.measures import adverse_event_rates
from necrostats.measures.adverse_events import INTERVALS, known_interval, known_units
from necrostats.registry.tables import registry_from
from necrostats.stats.proportions import blaker, clopper_pearson, mid_p, wilson
from necrostats.stats.rates import clustered_rate, garwood


def _row(result, unit, variable="any adverse event", group="all"):
    table = result.frame
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
    assert any("1 session of 3 left out of every denominator" in note.text for note in result.notes)


def test_an_unchecked_session_with_a_recorded_event_was_looked_at():
    course = Course(necrosectomies=[10], unchecked=[10], events=[(12, "bleeding")])
    assert _row(adverse_event_rates(registry_of(course)), "sessions")["n"] == 2


def test_no_event_in_thirty_patients_leaves_11_6_percent_compatible():
    """0 of 30: upper 97.5 % limit 11.6 % (1 - 0.025 ** (1/30))."""
    result = adverse_event_rates(registry_of(*[Course()] * 30))
    row = _row(result, "patients")
    assert row["low"] == 0
    assert row["high"] == pytest.approx(1 - 0.025 ** (1 / 30), abs=1e-12)
    assert "ZERO_EVENTS" in {note.code for note in result.notes}


def test_groups_of_sessions_have_their_own_denominators():
    result = adverse_event_rates(registry_of(Course(), Course(period="2024Q3", events=[(2, "bleeding")])), by="period")
    assert list(result.frame["group"].cat.categories) == ["2024Q1", "2024Q2", "2024Q3"]
    assert _row(result, "sessions", group="2024Q3")["events"] == 1
    assert _row(result, "sessions", group="2024Q2")["n"] == 0
    assert np.isnan(_row(result, "sessions", group="2024Q2")["estimate"])


def test_an_unknown_event_type_is_answered_with_the_list():
    with pytest.raises(ChoiceError, match="bleeding"):
        adverse_event_rates(registry_of(Course()), event_type="bleed")


def test_nobody_gives_an_empty_answer_and_no_error():
    result = adverse_event_rates(registry_of(Course()).select([False]))
    assert result.frame["estimate"].isna().all()


def _graded(*grades):
    base = registry_of(*[Course(events=[(2, "bleeding")]) for _ in grades])
    events = base.adverse_events.assign(agree_grade=list(grades))
    return registry_from({**base.tables, "adverse_events": events}, recorded=base.recorded)


def test_a_grade_and_the_graver_ones_are_kept_and_the_ungraded_are_counted():
    result = adverse_event_rates(_graded("II", "IIIa", "V", None), grade_from="IIIa")
    assert _row(result, "patients")["events"] == 2
    assert result.population.left_out["events without a grade on that scale"] == 1
    assert "AGREE grade IIIa or graver" in result.title


def test_a_grade_of_one_scale_is_never_read_as_one_of_another():
    result = adverse_event_rates(_graded("IIIa"), grade_from="IIIa", grading="Clavien–Dindo")
    assert _row(result, "patients")["events"] == 0


def test_a_patient_with_three_events_widens_the_rate_per_100_patient_days():
    crowded = Course(events=[(2, "bleeding"), (3, "bleeding"), (4, "bleeding")])
    spread = [Course(events=[(2, "bleeding")])] * 3
    wide = _row(adverse_event_rates(registry_of(crowded, *[Course()] * 9)), "100 patient-days")
    narrow = _row(adverse_event_rates(registry_of(*spread, *[Course()] * 7)), "100 patient-days")
    assert wide["estimate"] == narrow["estimate"]
    assert wide["high"] > narrow["high"]


def test_events_per_patient_is_offered_when_asked_for():
    course = Course(events=[(2, "bleeding"), (3, "sepsis")])
    result = adverse_event_rates(registry_of(course, Course()), units=("events per patient",))
    row = _row(result, "events per patient")
    assert (row["events"], row["n"], row["estimate"]) == (2, 2, 1.0)
    with pytest.raises(ChoiceError, match="100 patient-days"):
        adverse_event_rates(registry_of(course), units=("days",))


def _notes(result, code):
    return [note.text for note in result.notes if note.code == code]


def test_sessions_that_count_only_because_of_an_event_are_said():
    course = Course(necrosectomies=[10], unchecked=[10], events=[(12, "bleeding")])
    (text,) = _notes(adverse_event_rates(registry_of(course)), "MISSING")
    assert text.startswith("1 session counts only because an event is recorded for it")
    assert not _notes(adverse_event_rates(registry_of(Course(events=[(2, "bleeding")]))), "MISSING")


def test_sessions_not_watched_to_the_end_are_said_where_they_count_as_without_an_event():
    registry = registry_of(Course(last_contact=12), Course())
    (text,) = _notes(adverse_event_rates(registry), "NOT_MATURED")
    assert text.startswith("1 of 2 sessions has been watched for less than the window")
    assert not _notes(adverse_event_rates(registry, units=("100 patient-days",)), "NOT_MATURED")


def test_events_dated_to_a_range_are_said():
    base = registry_of(Course(events=[(3, "bleeding"), (40, "bleeding")]))
    events = base.adverse_events.assign(day_latest=[9, 60])
    (text,) = _notes(
        adverse_event_rates(registry_from({**base.tables, "adverse_events": events}, recorded=base.recorded)), "MISSING"
    )
    assert "2 events are dated only to a range" in text
    assert "1 inside the window, 1 after it" in text


def test_crowding_is_said_of_the_rates_shown_and_of_no_other_event():
    crowded = Course(events=[(2, "bleeding"), (3, "bleeding"), (4, "bleeding")])
    registry = registry_of(crowded, *[Course()] * 9)
    units = ("100 patient-days",)
    (text,) = _notes(adverse_event_rates(registry, units=units, event_type="bleeding"), "OVERDISPERSED")
    assert "at most 3 in one" in text
    assert not _notes(adverse_event_rates(registry, units=units, event_type="perforation"), "OVERDISPERSED")
    (several,) = _notes(adverse_event_rates(registry, units=units), "OVERDISPERSED")
    assert "in 2 of" in several


def test_the_smallest_group_with_anybody_in_it_is_named_where_it_has_few_patients():
    courses = [*[Course()] * 25, *[Course(period="2024Q3")] * 3]
    (text,) = _notes(adverse_event_rates(registry_of(*courses), by="period"), "FEW_CLUSTERS")
    assert "Only 3 patients in the smallest group (2024Q3)" in text
    assert not _notes(adverse_event_rates(registry_of(*courses)), "FEW_CLUSTERS")


def test_events_without_a_grade_are_counted_for_the_type_asked_for_only():
    base = registry_of(Course(events=[(2, "bleeding"), (3, "perforation")]))
    result = adverse_event_rates(base, event_type="bleeding", grade_from="IIIa", attribution_from="possible")
    assert result.population.left_out["events without a grade on that scale"] == 1
    assert result.population.left_out["events of which the attribution is not recorded"] == 1


REGISTRY = registry_of(*[Course(events=[(2, "bleeding")])] * 3, *[Course()] * 17)


def _row_adverse_event_units(registry, unit, **options):
    return adverse_event_rates(registry, event_type="bleeding", units=(unit,), **options).frame.iloc[0]


@pytest.mark.parametrize(
    ("interval", "method"),
    [("Clopper–Pearson", clopper_pearson), ("mid-P", mid_p), ("Blaker", blaker), ("Wilson", wilson)],
)
def test_the_interval_of_patients_is_the_one_asked_for(interval, method):
    expected, row = method(3, 20), _row_adverse_event_units(REGISTRY, "patients", interval=interval)
    assert (row["low"], row["high"]) == pytest.approx((expected.low, expected.high))
    assert interval in adverse_event_rates(REGISTRY, interval=interval).method.interval


def test_a_plain_hyphen_will_do_and_an_unknown_interval_is_answered_with_the_list():
    assert known_interval("Clopper-Pearson") == "Clopper–Pearson"
    assert set(INTERVALS) == {"Clopper–Pearson", "mid-P", "Blaker", "Wilson"}
    with pytest.raises(ChoiceError, match="Wilson"):
        known_interval("Wald")


def test_units_come_in_their_order_and_one_may_stand_alone():
    assert known_units(("sessions", "patients")) == ("patients", "sessions")
    assert known_units("sessions") == ("sessions",)
    with pytest.raises(ChoiceError, match="100 stent-days"):
        known_units(("weeks",))


def test_robust_limits_are_never_taken_inside_the_exact_ones():
    """One event in one of two patients of unlike follow-up: the dispersion is large and means nothing."""
    registry = registry_of(Course(events=[(0, "bleeding")], last_contact=1), Course(last_contact=200))
    row = _row_adverse_event_units(registry, "100 patient-days")
    exact, robust = garwood(1, row["n"], per=100), clustered_rate([1, 0], [2, 31], per=100)
    assert row["low"] == pytest.approx(min(exact.low, robust.low))
    assert row["high"] == pytest.approx(max(exact.high, robust.high))


def _codes(result):
    return [note.code for note in result.notes]


def test_the_method_names_only_the_units_that_are_shown():
    registry = registry_of(Course(), Course())
    alone = adverse_event_rates(registry, units=("patients",)).method
    assert "patient-days" not in alone.estimand + alone.interval + alone.definition
    assert not any("Garwood" in reference for reference in alone.references)
    every = adverse_event_rates(registry, units=("patients", "100 stent-days")).method
    assert "stent-related events per 100 stent-days" in every.estimand
    assert "whatever the window" in every.definition


def test_crowding_is_said_for_the_rate_it_concerns():
    registry = registry_of(Course(events=[(2, "bleeding")] * 3), *[Course()] * 20)
    days = adverse_event_rates(registry, units=("100 patient-days",))
    each = adverse_event_rates(registry, units=("events per patient",))
    assert "limits per 100 patient-days are robust" in days.notes[-1].text
    assert "limits of events per patient are robust" in each.notes[-1].text
    assert "OVERDISPERSED" not in _codes(adverse_event_rates(registry, units=("patients",)))


def test_few_patients_are_said_where_sessions_are_shown():
    registry = registry_of(Course(events=[(2, "bleeding")]), Course())
    assert "FEW_CLUSTERS" in _codes(adverse_event_rates(registry))
    assert "FEW_CLUSTERS" not in _codes(adverse_event_rates(registry, units=("patients",)))


def test_limits_of_six_patients_with_three_events_each_are_the_exact_ones():
    """18 events in 6 × 101 patient-days: counts that do not vary at all give robust limits without width.

    Garwood's are the χ² quantiles halved: 10.668 and 28.448 events (Ulm K. Am J Epidemiol 1990;131:373, from memory).
    """
    days = [(day, "bleeding") for day in (1, 2, 3)]
    row = _row_adverse_event_units(registry_of(*[Course(events=days)] * 6), "100 patient-days")
    assert row["events"] == 18
    assert (row["low"] * row["n"] / 100, row["high"] * row["n"] / 100) == pytest.approx((10.668, 28.448), abs=5e-4)


def _late_for_its_session(day=35, second=30, **more):
    """Named to the session of day 0 (window to day 30), and in the window of that of `second`."""
    registry = registry_of(Course(necrosectomies=[second], events=[(day, "bleeding")], **more))
    events = registry.adverse_events.assign(session_id=registry.sessions["session_id"].iloc[0])
    return registry_from({**registry.tables, "adverse_events": events}, recorded=registry.recorded)


def test_an_event_after_its_sessions_window_but_in_anothers_counts_for_the_patient_and_the_days_only():
    result = adverse_event_rates(_late_for_its_session())
    rows = result.frame[result.frame["variable"] == "bleeding"].set_index("unit")
    assert rows["events"].to_dict() == {"patients": 1, "sessions": 0, "100 patient-days": 1}
    assert rows.loc["100 patient-days", "n"] == 30 + 31
    assert "1 event lies outside the window of the session named" in " ".join(_notes(result, "MISSING"))
    assert "events after the window" not in result.population.left_out


def _counted_events(course, **named):
    registry = registry_of(course)
    events = registry.adverse_events.assign(**named)
    changed = registry_from({**registry.tables, "adverse_events": events}, recorded=registry.recorded)
    result = adverse_event_rates(changed)
    rows = result.frame[result.frame["variable"] == "bleeding"].set_index("unit")
    return rows["events"].to_dict(), dict(result.population.left_out)


@pytest.mark.parametrize(("second", "unchecked", "counts"), [(20, [], 1), (60, [], 0), (20, [0], 0)])
def test_an_event_before_the_session_it_names_counts_in_the_watched_days_of_another(second, unchecked, counts):
    """By hand: day 15 lies in the 30 days of day 0 if that is watched; day 50 does not."""
    day = 15 if second == 20 else 50
    course = Course(necrosectomies=[second], events=[(day, "bleeding")], unchecked=unchecked)
    events, left_out = _counted_events(course, session_id=f"P1D{second}")
    assert events == {"patients": counts, "sessions": 0, "100 patient-days": counts}
    assert left_out.get("events dated before the session they name", 0) == 1 - counts


def test_an_event_outside_its_window_counts_on_a_day_that_one_of_two_sessions_of_that_day_watched():
    registry = registry_of(Course(necrosectomies=[40], events=[(40, "bleeding")]))
    again = registry.sessions.iloc[[1]].assign(session_id="P1D40b", events_checked=False)
    sessions = pd.concat([registry.sessions, again], ignore_index=True)
    events = registry.adverse_events.assign(session_id="P1D0")
    tables = {**registry.tables, "sessions": sessions, "adverse_events": events}
    rows = adverse_event_rates(registry_from(tables, recorded=registry.recorded)).frame
    counts = rows[rows["variable"] == "bleeding"].set_index("unit")["events"].to_dict()
    assert counts == {"patients": 1, "sessions": 0, "100 patient-days": 1}


@pytest.mark.parametrize(("day", "second", "counts"), ((30, 30, 1), (31, 31, 1), (31, 32, 0), (61, 31, 1), (62, 31, 0)))
def test_the_other_window_begins_and_ends_where_it_says(day, second, counts):
    """By hand: the window of the second session is its day to 30 days after, both included."""
    rows = adverse_event_rates(_late_for_its_session(day, second)).frame
    row = rows[(rows["variable"] == "bleeding") & (rows["unit"] == "patients")].iloc[0]
    assert row["events"] == counts


def test_an_event_in_the_days_of_a_session_nobody_looked_at_counts_nowhere():
    result = adverse_event_rates(_late_for_its_session(unchecked=[30]))
    assert result.population.left_out["events after the window"] == 1


def test_the_share_among_sessions_watched_to_the_end_stands_beside_that_of_all():
    registry = registry_of(Course(last_contact=12), Course(events=[(3, "bleeding")]), Course())
    assert "Of the 2 watched to the end 1 was followed by an event." in " ".join(
        _notes(adverse_event_rates(registry), "NOT_MATURED")
    )


@pytest.mark.parametrize(("patients", "said"), ((20, True), (21, False)))
def test_limits_with_strong_crowding_in_few_patients_are_said_to_fall_short(patients, said):
    crowded = Course(necrosectomies=[5, 10], events=[(1, "bleeding"), (6, "bleeding"), (11, "bleeding")])
    result = adverse_event_rates(registry_of(crowded, *[Course()] * (patients - 1)), event_type="bleeding")
    assert any("covered 92 %" in text for text in _notes(result, "OVERDISPERSED")) == said


@pytest.mark.parametrize(("patients", "few"), [(19, True), (20, False), (21, False)])
def test_fewer_than_twenty_patients_are_few(patients, few):
    notes = adverse_event_rates(registry_of(*[Course(necrosectomies=[5])] * patients), units=("sessions",)).notes
    assert ("FEW_CLUSTERS" in [note.code for note in notes]) == few


@pytest.mark.parametrize(("patients", "short"), [(19, True), (20, True), (21, False)])
def test_up_to_twenty_patients_robust_limits_are_said_to_fall_short(patients, short):
    crowded = Course(events=[(1, "bleeding"), (2, "sepsis"), (3, "bleeding")])
    registry = registry_of(crowded, *[Course()] * (patients - 1))
    (note,) = [
        note
        for note in adverse_event_rates(registry, units=("100 patient-days",)).notes
        if note.code == "OVERDISPERSED"
    ]
    assert ("can fall short" in note.text) == short
