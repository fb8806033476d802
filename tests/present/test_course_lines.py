from __future__ import annotations

from builders.courses import Course, registry_of
from builders.html import parsed, table_of
from builders.many_courses import many_courses, with_tables
from necrostats.measures import patient_courses
from necrostats.present import describe, tabulate
from necrostats.present.course_lines import course_lines, heading


def test_a_line_says_what_happened_on_which_days():
    course = Course(scans=[(-3, 120.0), (30, None)], events=[(8, "stent_occlusion")], surgery_on=50, last_contact=70)
    line = course_lines(patient_courses(registry_of(course))).iloc[0]
    assert line["outcome"] == "surgery"
    assert (line["end, day"], line["last contact, day"]) == (50, 70)
    assert line["scans"] == "−3: 120 mm; 30: not measured"
    assert line["adverse events, AGREE grade"] == "8: stent occlusion, no grade"
    assert line["other interventions"] == "50: surgical necrosectomy"


def test_a_stent_of_unknown_end_and_a_day_in_a_range_say_so():
    lines = course_lines(patient_courses(many_courses(1)))
    assert lines.loc[0, "stents"] == "0–20: lumen apposing; 20 to ?: double pigtail"
    registry = registry_of(Course(events=[(12, "bleeding")]))
    ranged = with_tables(registry, adverse_events=registry.adverse_events.assign(day_latest=40))
    line = course_lines(patient_courses(ranged)).iloc[0]
    assert line["adverse events, AGREE grade"] == "12–40: bleeding, no grade"


def test_the_table_has_a_row_a_patient_and_escapes_its_text():
    rows = table_of(parsed(tabulate(patient_courses(many_courses(7))).html).all("table")[0])
    assert len(rows) == 8
    assert rows[0][:2] == ["Patient", "Outcome"]
    assert tabulate(patient_courses(registry_of())).notes[0] == "Nobody."


def test_the_words_count_and_never_give_a_share():
    said = describe(patient_courses(many_courses(12)))
    assert said.startswith("Of 12 patients, 7 resolved, 1 died unresolved, 1 had surgery first, 1 had a percutaneous")
    assert "they are not shares" in said
    assert "%" not in said.split("Estimand")[0]


def test_one_patient_is_spoken_of_in_the_singular():
    said = describe(patient_courses(registry_of(Course(last_contact=50, observed=60, necrosectomies=[9]))))
    assert said.startswith("Of 1 patient, 1 was still under treatment. Recorded in all: 1 necrosectomy, 0 stents")


def test_groups_are_spoken_of_one_by_one():
    said = describe(patient_courses(many_courses(12), by="infection"))
    assert "Confirmed: of 4 patients" in said


def test_an_outcome_heads_its_patients_in_words():
    assert heading("surgery") == "Surgery before resolution"
    assert heading("still under treatment") == "Still under treatment"
