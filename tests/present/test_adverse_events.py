"""The adverse event results through all three verbs."""

from __future__ import annotations

import re

import pytest

from builders.courses import Course, registry_of
from builders.stented import with_events, with_stents
from necrostats.measures import (
    adverse_event_rates,
    complication_index,
    event_grades,
    time_to_first_event,
    worst_grades,
)
from necrostats.present import chart, table, words
from necrostats.present.wording import findings

UNITS = ("patients", "sessions", "100 patient-days", "100 stent-days", "events per patient")


def _registry():
    base = registry_of(
        Course(events=[(2, "bleeding"), (9, "stent_migration")], about={"sex": "male"}),
        *[Course(about={"sex": "female"})] * 6,
        *[Course(events=[(3, "bleeding")], about={"sex": "male"})] * 3,
    )
    stented = with_stents(base, {"patient_id": "P1", "placed_day": 0, "removed_day": 28})
    return with_events(stented, agree_grade=["II", "IIIa", "II", None, "I"])


RESULTS = {
    "rates": lambda registry: adverse_event_rates(registry, units=UNITS),
    "worst": worst_grades,
    "worst by group": lambda registry: worst_grades(registry, by="sex"),
    "grades": event_grades,
    "grades by group": lambda registry: event_grades(registry, by="sex"),
    "index": complication_index,
    "curve": time_to_first_event,
    "curve by group": lambda registry: time_to_first_event(registry, by="sex", event_type="bleeding"),
}


@pytest.mark.parametrize("width", ["page", pytest.param("column", marks=pytest.mark.slow)])
@pytest.mark.parametrize("name", RESULTS)
def test_every_result_can_be_drawn_tabulated_and_described(name, width):
    result = RESULTS[name](_registry())
    assert words(result)
    assert "<caption>" in table(result).html
    assert chart(result, width=width).image("png", width=width, dpi=30).startswith(b"\x89PNG")


@pytest.mark.parametrize("name", RESULTS)
def test_nobody_can_be_drawn_tabulated_and_described(name):
    result = RESULTS[name](_registry().select([False] * 10))
    assert words(result)
    assert table(result).html
    assert chart(result).alt


def test_a_sentence_never_mixes_units():
    for sentence in findings(adverse_event_rates(_registry(), units=UNITS)):
        bare = sentence.replace("patient-days", "D").replace("stent-days", "T")
        kinds = [kind for kind in ("patients", "sessions", "D", "T") if re.search(rf"\b{kind}\b", bare)]
        assert len(kinds) <= 1, sentence


def test_events_per_patient_are_no_percentage():
    result = adverse_event_rates(_registry(), units=("events per patient",), event_type="bleeding")
    assert findings(result) == ("Bleeding: 4 events over 10 patients, 0.40 per patient (95 % CI 0.11–1.02).",)
    assert list(table(result).frame.columns)[1] == "Events per patient: events / n (95 % CI)"


def test_over_stent_days_only_what_is_put_down_to_a_stent_is_spoken_of():
    result = adverse_event_rates(_registry(), units=("100 stent-days",), event_type=("any adverse event", "bleeding"))
    said = findings(result)
    assert said[0].startswith("Any stent-related event: 1 in 28 stent-days")
    assert said[1].startswith("No bleeding put down to a stent was recorded in 28 stent-days")


def test_types_go_down_and_grades_across_with_the_ungraded_in_their_column():
    shown = table(event_grades(_registry()))
    assert list(shown.frame.columns) == ["Measure", "I", "II", "IIIa", "IIIb", "IVa", "IVb", "V", "Not graded", "Total"]
    assert list(shown.frame.iloc[0]) == ["Bleeding", "1", "2", "0", "0", "0", "0", "0", "1", "4"]
    assert list(shown.frame["Measure"]) == ["Bleeding", "Stent migration", "Any adverse event"]
    assert shown.notes[0].startswith("None recorded: pseudoaneurysm, perforation")


def test_the_worst_grade_is_said_and_shown_with_its_interval():
    result = worst_grades(_registry())
    assert "IIIa 1 of 10 (10 %, 0–45 %)" in findings(result)[0]
    assert "1, 10 % (0–45)" in table(result).frame.iloc[3].tolist()


def test_the_curve_speaks_of_the_event_and_of_death_without_it():
    said = findings(time_to_first_event(_registry(), event_type="bleeding"))[0]
    assert "had had bleeding" in said
    died = registry_of(*[Course(died_on=10)] * 2, *[Course(events=[(3, "sepsis")])] * 2, *[Course()] * 6)
    said = findings(time_to_first_event(died))[0]
    assert "had had at least one adverse event" in said
    assert "had died without it" in said
    assert "resolved" not in said
