"""An adverse event that was set aside takes its session out of the rates; what nothing was lost of stays watched."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, finding, registry_of, rules, set_aside


def watched(**event):
    """The faultless tables with somebody looking in every session, and the event spoilt."""
    tables = faultless()
    for session in tables["sessions"]:
        session["events_checked"] = "yes"
    tables["adverse_events"][0].update(event)
    return tables


def looked(registry):
    """What is known of each session: was somebody looking?"""
    column = registry.sessions["events_checked"]
    return dict(zip(registry.sessions["session_id"], column.astype(object).where(column.notna(), None), strict=True))


def test_a_session_whose_event_was_set_aside_no_longer_says_that_somebody_looked(tmp_path):
    registry = registry_of(tmp_path, watched(event_type="something else"))
    assert looked(registry) == {"S01": True, "S02": None, "S03": True}
    assert finding(registry, "EVENT_SET_ASIDE").severity == "notes"
    assert ("sessions", 3, "events_checked") in set_aside(registry, "cell")


@pytest.mark.parametrize(("day", "session"), [("7", "S02"), ("6", "S01"), ("0", "S01"), ("190", "S02")])
def test_an_event_that_names_no_session_belongs_to_the_last_one_up_to_its_day(tmp_path, day, session):
    registry = registry_of(tmp_path, watched(event_type="something else", session_id="", day=day))
    assert [name for name, seen in looked(registry).items() if seen is None] == [session]


def test_an_event_with_neither_session_nor_day_leaves_the_sessions_as_they_are(tmp_path):
    registry = registry_of(tmp_path, watched(session_id="", day="soon"))
    assert all(looked(registry).values())
    lost = registry.set_aside[registry.set_aside["table"] == "adverse_events"]
    assert lost["patient_id"].tolist() == ["P01"]


def test_a_copy_of_an_event_takes_nothing_away(tmp_path):
    tables = watched()
    tables["adverse_events"].append(dict(tables["adverse_events"][0]))
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["DUPLICATE_ROW"]
    assert all(looked(registry).values())


def test_an_event_that_is_kept_takes_nothing_away(tmp_path):
    registry = registry_of(tmp_path, watched())
    assert registry.findings.empty
    assert all(looked(registry).values())


def test_a_session_that_nobody_watched_has_nothing_taken_away(tmp_path):
    tables = watched(event_type="something else")
    tables["sessions"][1]["events_checked"] = ""
    assert "EVENT_SET_ASIDE" not in rules(registry_of(tmp_path, tables))
