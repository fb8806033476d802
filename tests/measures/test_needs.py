"""What is not recorded is never counted as none: every public measure against every table taken away."""

from __future__ import annotations

import pandas as pd
import pytest

import necrostats
from builders.courses import Course, registry_of
from necrostats import chart, table, words
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import registry_from
from necrostats.results import Unanswered

RESOLUTION = (
    "time_to_resolution",
    "sessions_to_resolution",
    "session_states",
    "restricted_mean_resolution",
    "bootstrap_resolution",
    "interval_censored_resolution",
    "parametric_resolution",
    "collection_resolution",
    "recurrence",
    "competing_ends_trap",
    "naive_mean_sessions",
    "compare_resolution",
    "session_regression",
    "landmark_resolution",
    "resolution_after_use",
    "ever_used_trap",
    "resolution_by_stent",
)
EVENTS = (
    "adverse_event_rates",
    "compare_adverse_events",
    "worst_grades",
    "event_grades",
    "complication_index",
    "adverse_event_cases",
    "time_to_first_event",
)
INSTRUMENTS = ("debridement_yield", "landmark_resolution", "resolution_after_use", "ever_used_trap")
NEEDED = {
    "scans": {*RESOLUTION, "sensitivity", "scan_schedule", "collection_volumes"},
    "reviews": set(RESOLUTION),
    "other_interventions": {*RESOLUTION, "sensitivity"},
    "adverse_events": set(EVENTS),
    "instrument_uses": set(INSTRUMENTS),
    "stents": {"resolution_by_stent"},
}
ARGUMENTS = {
    "compare_resolution": {"by": "sex"},
    "compare_adverse_events": {"by": "sex"},
    "session_regression": {"covariates": ["sex"]},
    "landmark_resolution": {"by_ever": "snare"},
    "resolution_after_use": {"instrument_class": "snare"},
    "ever_used_trap": {"instrument_class": "snare"},
}


def whole():
    courses = [
        Course(
            necrosectomies=[3, 9],
            scans=[(20, 60 - 3 * number), (60, 20)],
            well_on=[61],
            tools={3: ["snare"], 9: ["net"]},
            yields={3: (100, 100), 9: (50, 50)},
            events=[(4, "bleeding")] if number % 3 == 0 else [],
            drain_on=40 if number == 5 else None,
            about={"sex": ("female", "male")[number % 2]},
        )
        for number in range(12)
    ]
    tables = registry_of(*courses).tables
    stents = pd.DataFrame(
        {"stent_id": ["T1"], "patient_id": ["P1"], "stent_type": ["lumen_apposing"], "placed_day": [0]}
    )
    return {**tables, "stents": stents}


def asked(name, tables):
    return getattr(necrostats, name)(registry_from(tables), **ARGUMENTS.get(name, {}))


@pytest.mark.parametrize("taken", NEEDED)
def test_without_a_table_the_figures_that_need_it_stay_unanswered_and_the_others_do_not(taken):
    tables = {name: frame for name, frame in whole().items() if name != taken}
    unanswered = set()
    for name in {*RESOLUTION, *EVENTS, *INSTRUMENTS, "sensitivity", "scan_schedule", "collection_volumes"} - {
        "resolution_by_stent" if taken != "stents" else ""
    }:
        if isinstance(asked(name, tables), Unanswered):
            unanswered.add(name)
    assert unanswered == NEEDED[taken] - ({"resolution_by_stent"} if taken != "stents" else set())


@pytest.mark.parametrize("taken", [name for name in TABLES if name not in ("patients", "collections")])
@pytest.mark.parametrize("name", [each for each in necrostats.__all__ if each in {*RESOLUTION, *EVENTS, *INSTRUMENTS}])
def test_every_verb_presents_an_unanswered_question(name, taken):
    gone = {taken, *(["instrument_uses"] if taken == "sessions" else [])}
    result = asked(name, {key: frame for key, frame in whole().items() if key not in gone})
    if isinstance(result, Unanswered):
        said = words(result)
        assert "not computed" in said and "Add" in said
        assert said.count("Add") <= len(table(result).frame)
        assert chart(result).alt == said


def test_an_empty_table_of_interventions_says_that_there_was_none():
    tables = whole()
    tables["other_interventions"] = tables["other_interventions"].iloc[:0]
    assert not isinstance(asked("time_to_resolution", tables), Unanswered)


def test_a_blank_column_is_not_recorded_either():
    tables = whole()
    tables["scans"] = tables["scans"].assign(long_mm=float("nan"))
    assert "longest axis" in words(asked("time_to_resolution", tables))
    tables = whole()
    tables["sessions"] = tables["sessions"].assign(events_checked=pd.NA)
    assert "looked for adverse events" in words(asked("adverse_event_rates", tables))


def test_a_definition_that_asks_for_no_review_needs_none():
    tables = {name: frame for name, frame in whole().items() if name != "reviews"}
    without = ResolutionDefinition(name="size alone", size_mm=30, symptom_free=False)
    result = necrostats.time_to_resolution(registry_from(tables), definition=without)
    assert result.frame["events"].sum() > 0
    assert "symptom_free=False" in words(asked("time_to_resolution", tables))


def test_a_registry_narrowed_to_patients_without_scans_still_records_scans():
    registry = registry_of(
        Course(scans=[(40, 20)], well_on=[41]), Course(period="2025Q1", last_contact=10, observed=20)
    )
    narrowed = registry.indexed_in("2025Q1")
    assert narrowed.scans.empty and narrowed.recorded.has("scans", "long_mm")
    assert not isinstance(necrostats.time_to_resolution(narrowed), Unanswered)
