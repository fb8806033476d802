from dataclasses import replace

import pandas as pd

from builders.courses import EVERYTHING
from builders.debridements import registry_of, series
from necrostats.measures import adverse_events_by_class, precision_plan
from necrostats.registry.tables import registry_from
from necrostats.results import Unanswered


def _with_events(registry, *sessions):
    events = pd.DataFrame(
        {
            "event_id": [f"E{each}" for each in sessions],
            "patient_id": [str(registry.sessions["patient_id"].iloc[each]) for each in sessions],
            "session_id": [f"S{each}" for each in sessions],
            "day": [int(registry.sessions["day"].iloc[each]) for each in sessions],
            "event_type": "bleeding",
        }
    )
    tables = {name: table.astype(object) for name, table in registry.tables.items() if len(table)}
    return registry_from({**tables, "adverse_events": events}, recorded=EVERYTHING)


def _row(result, group, unit="sessions"):
    rows = result.frame
    return rows[(rows["group"] == group) & (rows["unit"] == unit)].iloc[0]


def test_an_event_belongs_to_the_class_of_the_session_it_names():
    result = adverse_events_by_class(_with_events(registry_of(*series(10)), 0, 2, 3))
    assert (_row(result, "snare")["events"], _row(result, "snare")["n"]) == (2, 15)
    assert (_row(result, "powered_debrider")["events"], _row(result, "powered_debrider")["n"]) == (1, 15)


def test_shared_sessions_leave_the_denominators_and_are_counted():
    sessions = series(10)
    sessions[0] = replace(sessions[0], uses=["snare", "net"])
    result = adverse_events_by_class(registry_of(*sessions))
    assert result.population.sessions == 29
    reason = "sessions that are no necrosectomy with exactly one known class of instrument"
    assert result.population.left_out[reason] == 1


def test_sessions_in_which_nobody_looked_are_no_denominator():
    sessions = [replace(each, about={"events_checked": None}) if each.day == 10 else each for each in series(10)]
    assert adverse_events_by_class(registry_of(*sessions)).population.sessions == 20


def test_the_caution_stands_with_it_and_no_instruments_give_an_empty_table():
    assert any(
        "Not a comparison of safety" in note.text for note in adverse_events_by_class(registry_of(*series(4))).notes
    )
    assert adverse_events_by_class(registry_of(*[replace(each, uses=[]) for each in series(4)])).frame.empty


def test_events_that_nobody_records_are_no_noes():
    """The question stays unanswered, and the plan says nothing of events."""
    registry = registry_of(*series(10), everything=False)
    assert isinstance(adverse_events_by_class(registry), Unanswered)
    assert (precision_plan(registry).frame["sessions_watched"] == 0).all()
