"""What a unit looks at every quarter, counted by hand at each edge."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from builders.courses import EVERYTHING, Course, registry_of
from necrostats.definitions.indicators import BY_NAME, INDICATORS
from necrostats.measures.indicators import counted, judged_quarter, needed
from necrostats.registry.tables import Recorded, registry_from


def seen(registry, name):
    """Events and denominator in the only quarter."""
    result = counted(registry, BY_NAME[name])
    return int(result.events.sum()), int(result.n.sum())


def with_rows(registry, table, rows):
    """The same registry with other rows in a table."""
    return registry_from({**registry.tables, table: pd.DataFrame(rows)}, recorded=EVERYTHING)


def of_stents(*rows, courses=None):
    registry = registry_of(*(courses or [Course() for _ in rows]))
    stents = [
        {"stent_id": f"S{number}", "patient_id": f"P{number}", "collection_id": f"P{number}C1", **row}
        for number, row in enumerate(rows, start=1)
    ]
    return with_rows(registry, "stents", stents)


@pytest.mark.parametrize(("onset", "late"), [(-27, 0), (-28, 1), (-29, 1)])
def test_a_drainage_is_late_enough_from_day_28_on(onset, late):
    registry = registry_of(Course(about={"onset_day": onset}), Course())
    assert seen(registry, "late drainage") == (late, 1)


def test_a_drainage_worked_with_a_transmural_stent_on_day_0_and_no_maldeployment():
    registry = of_stents(
        {"stent_type": "lumen_apposing", "placed_day": 0},
        {"stent_type": "double_pigtail", "placed_day": 1},
        {"stent_type": "percutaneous", "placed_day": 0},
        {"stent_type": "lumen_apposing", "placed_day": 0},
        courses=[Course(), Course(), Course(), Course(events=[(0, "maldeployment")])],
    )
    assert seen(registry, "drainage worked") == (1, 4)


@pytest.mark.parametrize(("days", "many"), [([5, 9, 12], 0), ([5, 9, 12, 20], 1), ([5, 9, 12, 41], 0)])
def test_only_necrosectomies_up_to_the_resolution_count(days, many):
    registry = registry_of(Course(necrosectomies=days, scans=[(0, 100), (40, 10)], well_on=[40]))
    assert seen(registry, "more than three sessions") == (many, 1)


@pytest.mark.parametrize(("day", "scanned"), [(0, 0), (1, 1), (30, 1), (31, 0)])
def test_a_scan_after_drainage_is_one_on_days_1_to_30(day, scanned):
    assert seen(registry_of(Course(scans=[(day, 50)])), "scan after drainage") == (scanned, 1)


@pytest.mark.parametrize(("contact", "known"), [(89, 0), (90, 1), (91, 1)])
def test_an_outcome_is_known_of_who_is_seen_on_day_90(contact, known):
    assert seen(registry_of(Course(last_contact=contact)), "outcome known") == (known, 1)


def test_an_outcome_is_known_of_who_died_and_not_asked_before_day_90_lies_before_the_lock():
    registry = registry_of(Course(died_on=20), Course(observed=89, last_contact=89))
    assert seen(registry, "outcome known") == (1, 1)


def _with_events(rows):
    registry = registry_of(*[Course(necrosectomies=[5]) for _ in rows])
    events = [
        {"event_id": f"E{n}", "patient_id": f"P{n}", "day": 6, "event_type": "bleeding", **row}
        for n, row in enumerate(rows, start=1)
    ]
    return with_rows(registry, "adverse_events", events)


def test_bleeding_that_needed_no_treatment_is_not_counted_and_a_patient_once():
    registry = _with_events([{"treatment": "transfusion"}, {"treatment": "drug"}, {"treatment": "none"}, {}])
    assert seen(registry, "bleeding that needed treatment") == (1, 4)


def test_nights_count_from_the_first_one():
    registry = _with_events([{"extra_nights": 0, "icu_nights": 0}, {"extra_nights": 1, "icu_nights": 1}, {}])
    assert seen(registry, "extra nights") == (1, 6)
    assert seen(registry, "intensive care nights") == (1, 6)


def test_serious_events_of_patients_start_at_grade_iiia():
    registry = _with_events([{"agree_grade": "II"}, {"agree_grade": "IIIa"}, {"agree_grade": "V"}])
    assert seen(registry, "serious events of patients") == (2, 3)


def test_stent_days_are_those_of_transmural_stents_and_hold_the_bleeding_on_them():
    courses = [Course(necrosectomies=[5], events=[(day, "bleeding")]) for day in (10, 11, 6)]
    registry = of_stents(
        {"stent_type": "lumen_apposing", "placed_day": 0, "removed_day": 10},
        {"stent_type": "lumen_apposing", "placed_day": 0, "removed_day": 10},
        {"stent_type": "percutaneous", "placed_day": 0, "removed_day": 50},
        courses=courses,
    )
    treated = registry.adverse_events.assign(treatment="endoscopic")
    assert seen(with_rows(registry, "adverse_events", treated), "bleeding over stent-days") == (1, 20)


@pytest.mark.parametrize(("observed", "quarter"), [(29, "2024Q1"), (30, "2024Q2"), (31, "2024Q2")])
def test_a_quarter_has_matured_when_the_day_lies_before_the_lock_for_all_of_it(observed, quarter):
    registry = registry_of(
        Course(period="2024Q1"), Course(period="2024Q2"), Course(period="2024Q2", observed=observed, last_contact=29)
    )
    assert judged_quarter(registry, BY_NAME["deaths within 30 days"], "2024Q2") == quarter
    assert judged_quarter(registry, BY_NAME["bleeding"], "2024Q2") == "2024Q2"


def test_no_indicator_counts_more_events_than_its_denominator_or_crashes_with_nobody():
    registry = registry_of(Course(necrosectomies=[5]), Course(died_on=3, events=[(1, "perforation")]))
    for indicator in INDICATORS:
        events, n = seen(registry, indicator.name)
        assert 0 <= events <= n or indicator.per > 1
        assert seen(registry_of(), indicator.name) == (0, 0)


def test_a_private_sequence_of_periods_is_judged_in_its_own_order():
    courses = [Course(period=f"P{n:02d}", observed=400 if n < 100 else 10, last_contact=10) for n in (98, 99, 100)]
    assert judged_quarter(registry_of(*courses), BY_NAME["deaths within 30 days"], "P100") == "P99"


def test_the_sentence_of_each_says_what_is_counted_of_what():
    for indicator in INDICATORS:
        assert indicator.sentence().startswith(f"{indicator.title}: {indicator.events}, of {indicator.of}")
        assert indicator.source and replace(indicator, per=1).per == 1


def test_a_session_with_two_of_the_kinds_counts_once_and_one_watched_for_another_event_stays():
    rows = [
        {"event_id": "A", "patient_id": "P1", "event_type": "perforation", "day": 6},
        {"event_id": "B", "patient_id": "P1", "event_type": "gas_embolism", "day": 6},
        {"event_id": "C", "patient_id": "P2", "event_type": "infection", "day": 6},
    ]
    registry = registry_of(Course(necrosectomies=[5], unchecked=[0]), Course(necrosectomies=[5], unchecked=[0, 5]))
    registry = with_rows(registry, "adverse_events", rows)
    assert seen(registry, "perforation or gas embolism") == (1, 2)


def _recorded_as_written(registry):
    return registry_from({name: frame for name, frame in registry.tables.items() if len(frame)})


@pytest.mark.parametrize(("grade", "met"), [(pd.NA, False), ("II", True)])
def test_grades_are_needed_once_there_is_an_event(grade, met):
    graded = registry_of(Course(necrosectomies=[5], events=[(6, "bleeding")]))
    registry = with_rows(graded, "adverse_events", graded.adverse_events.assign(agree_grade=grade))
    need = next(need for need in needed(BY_NAME["serious events"]) if need.columns == ("agree_grade",))
    assert need.met(_recorded_as_written(registry)) is met


def test_where_no_event_ever_happened_none_lacks_its_grade():
    quiet = registry_of(Course(necrosectomies=[5]))
    kept = registry_from(quiet.tables, recorded=Recorded.of(quiet.tables, given=("adverse_events",)))
    assert all(need.met(kept) for need in needed(BY_NAME["serious events"]))


def test_stents_without_any_end_do_not_say_when_they_came_out():
    open_ended = of_stents({"stent_type": "lumen_apposing", "placed_day": 0})
    removed = of_stents({"stent_type": "lumen_apposing", "placed_day": 0, "removed_day": 20})
    met = [
        all(need.met(_recorded_as_written(each)) for need in needed(BY_NAME["stents out within 28 days"]))
        for each in (open_ended, removed)
    ]
    assert met == [False, True]


@pytest.mark.parametrize(("day", "out"), [(27, 1), (28, 1), (29, 0)])
def test_a_stent_is_out_in_time_on_day_28_itself(day, out):
    registry = of_stents({"stent_type": "lumen_apposing", "placed_day": 0, "removed_day": day})
    assert seen(registry, "stents out within 28 days") == (out, 1)


@pytest.mark.parametrize(("contact", "overdue"), [(27, 0), (28, 0), (29, 1)])
def test_a_stent_in_place_counts_once_it_is_overdue(contact, overdue):
    stent = {"stent_type": "lumen_apposing", "placed_day": 0, "end_reason": "in_place"}
    assert seen(of_stents(stent, courses=[Course(last_contact=contact)]), "stents out within 28 days") == (0, overdue)


@pytest.mark.parametrize(("day", "died"), [(29, 1), (30, 1), (31, 0)])
def test_a_death_on_day_30_itself_counts(day, died):
    assert seen(registry_of(Course(died_on=day)), "deaths within 30 days") == (died, 1)


@pytest.mark.parametrize(("day", "operated"), [(179, 1), (180, 1), (181, 0)])
def test_surgery_on_day_180_itself_counts(day, operated):
    assert seen(registry_of(Course(surgery_on=day)), "surgery") == (operated, 1)
