from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import many_courses, with_tables
from necrostats.bundled import synthetic_registry
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import DesignError
from necrostats.measures import patient_courses
from necrostats.measures.courses import KINDS, records
from necrostats.registry.loading import read_registry
from necrostats.results import Listing

RESOLVED_90 = {"scans": [(30, 70.0), (90, 10.0)], "well_on": [90]}


def _of(registry, what: str, **options) -> pd.DataFrame:
    table = patient_courses(registry, **options).frame
    return table[table["what"] == what].reset_index(drop=True)


def _outcomes(*courses: Course, **options) -> list[str]:
    return _of(registry_of(*courses), "course", **options)["outcome"].astype(object).tolist()


def test_patients_are_numbered_by_outcome_and_then_by_length_of_course():
    late, early = Course(**RESOLVED_90), Course(scans=[(20, 10.0)], well_on=[20])
    course = _of(registry_of(Course(died_on=5), late, early), "course")
    assert course["patient"].tolist() == [1, 2, 3]
    assert course["outcome"].astype(object).tolist() == ["resolved", "resolved", "death"]
    assert course["day_to"].tolist() == [20, 90, 5]


def test_no_identifier_is_in_the_listing():
    result = patient_courses(many_courses(12))
    assert isinstance(result, Listing)
    ids = {f"P{number}" for number in range(1, 13)} | {"T0", "U0", "P1C1", "P1D0", "P1E0"}
    written = set(result.frame.astype(str).to_numpy().ravel())
    assert not ids & written


def test_the_order_of_the_patients_in_the_registry_changes_nothing():
    courses = [Course(**RESOLVED_90), Course(died_on=5), Course(last_contact=50, necrosectomies=[7])]
    forwards = patient_courses(registry_of(*courses)).frame
    pd.testing.assert_frame_equal(forwards, patient_courses(registry_of(*reversed(courses))).frame)


def test_the_outcome_is_that_of_the_definition_and_its_horizon():
    late = Course(scans=[(200, 10.0)], well_on=[200], last_contact=250)
    assert _outcomes(late) == ["unresolved at day 180"]
    assert _outcomes(late, definition=replace(DOCUMENTED_RESOLUTION, horizon_days=360)) == ["resolved"]


def test_somebody_unresolved_is_under_treatment_near_the_data_lock_and_else_lost_to_view():
    here, gone = Course(last_contact=50, observed=140), Course(last_contact=50, observed=141)
    assert _outcomes(here, gone) == ["still under treatment", "lost to view unresolved"]
    assert _outcomes(here, lost_after_days=30) == ["lost to view unresolved"]


def test_a_course_is_followed_up_after_its_end():
    followed = _of(registry_of(Course(**RESOLVED_90, last_contact=300)), "follow-up")
    assert followed[["day", "day_to"]].to_numpy().tolist() == [[90, 300]]


def test_a_session_of_drainage_and_necrosectomy_counts_as_both_and_other_sessions_by_themselves():
    registry = registry_of(Course(necrosectomies=[7, 14]))
    kinds = ["drainage_and_necrosectomy", "necrosectomy", "stent_removal"]
    sessions = registry.sessions.assign(session_type=kinds)
    table = patient_courses(with_tables(registry, sessions=sessions)).frame
    days = {what: table.loc[table["what"] == what, "day"].tolist() for what in table["what"].unique()}
    assert days["drainage"] == [0]
    assert days["necrosectomy"] == [0, 7]
    assert days["other session"] == [14]


def test_a_stent_runs_to_its_removal_or_to_the_last_contact_or_to_nobody_knows_when():
    rows = [
        {"stent_id": "A", "stent_type": "lumen_apposing", "placed_day": 0, "removed_day": 21},
        {"stent_id": "B", "stent_type": "double_pigtail", "placed_day": 1, "end_reason": "in_place"},
        {"stent_id": "C", "stent_type": "nasocystic", "placed_day": 2},
    ]
    rows = [{"patient_id": "P1"} | row for row in rows]
    registry = with_tables(registry_of(Course(last_contact=77)), stents=rows)
    assert _of(registry, "stent")["day_to"].tolist() == [21, 77, pd.NA]
    said = [note.text for note in patient_courses(registry).notes]
    assert said[0].startswith("1 stent has neither a day of removal nor a reason")


def test_a_scan_day_has_one_row_with_the_largest_collection():
    course = Course(scans=[(30, 12.0)], late_collection=(25, [(30, 55.0), (60, None)]))
    scans = _of(registry_of(course), "scan")
    assert scans["day"].tolist() == [30, 60]
    assert scans["size_mm"].tolist()[0] == 55.0
    assert scans["size_mm"].isna().tolist() == [False, True]


def test_a_day_known_as_a_range_keeps_its_latest_day():
    registry = registry_of(Course(events=[(12, "bleeding")]))
    ranged = with_tables(registry, adverse_events=registry.adverse_events.assign(day_latest=40))
    event = _of(ranged, "adverse event").iloc[0]
    assert (event["day"], event["day_to"]) == (12, 40)
    assert _of(registry, "adverse event")["day_to"].isna().all()


def test_every_record_of_the_registry_is_in_the_listing():
    registry = read_registry(synthetic_registry() / "tidy")
    table = patient_courses(registry).frame
    seen = table["what"].value_counts()
    sessions = registry.sessions["session_type"]
    both = int((sessions == "drainage_and_necrosectomy").sum())
    assert seen["course"] == len(registry.patients)
    assert seen["drainage"] + seen["necrosectomy"] + seen["other session"] == len(sessions) + both
    assert seen["stent"] == len(registry.stents)
    assert seen["adverse event"] == len(registry.adverse_events)
    interventions = seen["surgery"] + seen["percutaneous drain"] + seen["other intervention"]
    assert interventions == len(registry.other_interventions)
    assert seen["scan"] == len(registry.scans.drop_duplicates(["patient_id", "day"]))
    assert seen["death"] == int((registry.patients["vital_status"] == "dead").sum())
    assert seen["resolved"] == int((table.loc[table["what"] == "course", "outcome"] == "resolved").sum())


def test_groups_come_first_and_patients_without_one_are_counted():
    courses = [Course(about={"sex": sex}) for sex in ("male", "female", None)]
    result = patient_courses(registry_of(*courses), by="sex")
    course = result.frame[result.frame["what"] == "course"]
    assert course["group"].astype(object).tolist() == ["female", "male"]
    assert list(course["group"].cat.categories) == ["female", "male", "other"]
    assert result.population.patients == 2
    assert dict(result.population.left_out) == {"patients without a group": 1}


def test_a_group_known_only_later_is_refused():
    with pytest.raises(DesignError, match="known only later"):
        patient_courses(many_courses(3), by="stent_type")


def test_nobody_gives_a_listing_without_rows():
    result = patient_courses(many_courses(0))
    assert result.frame.empty
    assert result.population.patients == 0


def _records(*courses: Course) -> pd.DataFrame:
    registry = registry_of(*courses)
    return records(registry, outcomes(registry, DOCUMENTED_RESOLUTION))


def test_a_record_has_a_kind_a_day_and_its_patient():
    rows = _records(Course(), Course(surgery_on=9))
    surgery = rows[rows["what"] == "surgery"].iloc[0]
    assert (surgery["position"], surgery["day"], surgery["detail"]) == (1, 9, "surgical_necrosectomy")
    assert list(rows["what"].cat.categories) == list(KINDS)
    assert pd.isna(surgery["day_to"])


def test_only_resolution_that_ended_the_course_is_a_resolution():
    after_surgery = Course(surgery_on=20, scans=[(40, 5.0)], well_on=[40])
    assert "resolved" not in set(_records(after_surgery)["what"])
    assert set(_records(Course(scans=[(40, 5.0)], well_on=[40]))["what"]) >= {"resolved", "course", "follow-up"}


@pytest.mark.parametrize(
    ("contact", "outcome"),
    [(59, "lost to view unresolved"), (60, "still under treatment"), (61, "still under treatment")],
)
def test_somebody_seen_90_days_before_the_lock_is_still_under_treatment(contact, outcome):
    assert _outcomes(Course(last_contact=contact, observed=150)) == [outcome]
