"""What to do with the data before the lock, at each edge."""

from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import EVERYTHING, Course, registry_of
from necrostats import table
from necrostats.errors import ChoiceError
from necrostats.measures import data_tasks, open_cases
from necrostats.registry.tables import registry_from

WHOLE = {"tools": {5: ["snare"]}, "yields": {5: (100, 100)}, "scans": [(0, 90), (30, 10)], "well_on": [30]}


def counted(registry, words, **options):
    """How many are open of how many, of the task whose name holds some words; None where nothing is open."""
    rows = data_tasks(registry, **options).frame
    found = rows[rows["to do"].str.contains(words)]
    return None if found.empty else (found["open"].iloc[0], found["of"].iloc[0])


def with_stent(last_contact, **stent):
    registry = registry_of(Course(last_contact=last_contact))
    row = {"stent_id": "S1", "patient_id": "P1", "collection_id": "P1C1", "stent_type": "lumen_apposing"}
    stents = pd.DataFrame([{**row, "placed_day": 2, "end_reason": "in_place", **stent}])
    return registry_from({**registry.tables, "stents": stents}, recorded=EVERYTHING)


def test_a_complete_record_leaves_nothing_to_do():
    registry = registry_of(Course(necrosectomies=[5], **WHOLE))
    result = data_tasks(registry)
    assert result.frame.empty and open_cases(registry).frame.empty
    assert table(result).notes == ("None.",)


def test_each_gap_is_counted_once_of_those_that_are_asked():
    registry = registry_of(Course(necrosectomies=[5, 9], unchecked=[9], **WHOLE), Course())
    assert counted(registry, "Look for adverse events") == (1, 4)
    assert counted(registry, "yield") == (1, 2)
    assert counted(registry, "instruments") == (1, 2)
    assert counted(registry, "scans") == (1, 2)
    assert counted(registry, "reviews") == (1, 2)


def test_only_the_sessions_of_the_period_are_asked():
    registry = registry_of(Course(unchecked=[0]), Course(unchecked=[0], period="2024Q2"))
    assert counted(registry, "Look for", period="2024Q2") == (1, 1)
    assert counted(registry, "Look for", period="2024Q1..2024Q2") == (2, 2)
    with pytest.raises(ChoiceError):
        data_tasks(registry, period="Q2")


@pytest.mark.parametrize(("contact", "overdue"), [(29, None), (30, None), (31, (1, 1))])
def test_a_stent_is_overdue_from_day_29_after_it_went_in(contact, overdue):
    assert counted(with_stent(contact), "stents") == overdue


def test_other_stents_and_those_taken_out_are_not_overdue():
    assert counted(with_stent(100, stent_type="double_pigtail"), "stents") is None
    assert counted(with_stent(100, removed_day=90, end_reason="planned"), "stents") is None


@pytest.mark.parametrize(("contact", "silent"), [(8, (1, 1)), (9, (1, 1)), (10, None)])
def test_a_patient_is_silent_after_more_than_90_days_without_word(contact, silent):
    registry = registry_of(Course(last_contact=contact, observed=100))
    assert counted(registry, "heard of") == silent


def test_who_died_is_not_asked_for_a_scan():
    assert counted(registry_of(Course(died_on=3)), "scans") is None


def test_what_the_unit_does_not_keep_is_no_task():
    registry = registry_from({"patients": pd.DataFrame({"patient_id": ["A"], "observed_days": [9]})})
    assert data_tasks(registry).frame.empty


def test_the_records_behind_a_count_are_named_by_the_codes_of_the_registry():
    registry = registry_of(Course(unchecked=[0]))
    assert ["P1", "P1D0", "Look for adverse events after each session"] in open_cases(
        registry
    ).frame.to_numpy().tolist()
    assert ["P1", "", "Enter the scans after the index drainage"] in open_cases(registry).frame.to_numpy().tolist()


def test_nobody_at_all_leaves_nothing_to_do():
    assert data_tasks(registry_of()).frame.empty and open_cases(registry_of()).frame.empty
