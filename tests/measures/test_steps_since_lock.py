"""From a registry at its lock to the same registry today, in steps."""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.earlier import days_before, plain_tables, without
from necrostats import read_registry
from necrostats.definitions.indicators import BY_NAME
from necrostats.measures.indicators import counted
from necrostats.measures.steps_since_lock import Parts, effects, only_patients, steps
from necrostats.registry.comparing import versions
from necrostats.registry.tables import registry_from

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"


@pytest.fixture(scope="module")
def registry():
    return read_registry(SYNTHETIC)


@pytest.fixture(scope="module")
def both(registry):
    return versions(registry_from(without(days_before(registry, 92), "adverse_events", "E0020")), registry)


@pytest.mark.parametrize("name", ["bleeding", "serious events of patients", "deaths within 90 days", "carbon dioxide"])
@pytest.mark.slow
def test_the_parts_of_all_patients_add_up_to_the_figure(registry, both, name):
    quarters = ["2025Q3", "2025Q4", "2026Q1"]
    parts, whole = Parts.of(both, BY_NAME[name], quarters), counted(registry, BY_NAME[name])
    found = parts.counts(both.now)
    for quarter in quarters:
        own = found[[part[1] == quarter for part in parts.parts]].sum(axis=0)
        place = registry.periods.index(quarter)
        assert own.tolist() == [whole.events[place], whole.n[place]]


@pytest.mark.parametrize("name", ["adverse events", "resolved within 180 days", "stents out within 28 days"])
@pytest.mark.slow
def test_the_effects_of_all_steps_add_up_to_the_whole_change(registry, both, name):
    parts = Parts.of(both, BY_NAME[name], registry.periods[-6:-1])
    found, left = effects(both, parts)
    assert found and not left.any()
    assert (sum(each.change for each in found) == parts.counts(both.now) - parts.counts(both.then)).all()


def test_time_comes_last_and_every_difference_is_in_one_step(both):
    way = steps(both.differences)
    assert way[-1].reason == "matured" and sum(len(each.differences) for each in way) == len(both.differences)


def test_a_patient_observed_for_another_time_than_all_others_was_corrected(registry):
    tables = days_before(registry, 30)
    tables["patients"].loc[0, "observed_days"] -= 5
    who = tables["patients"].loc[0, "patient_id"]
    way = steps(versions(registry_from(tables), registry).differences)
    (other,) = [
        each for each in way if each.reason == "corrected" and "observed_days" in set(each.differences["column"])
    ]
    assert other.differences["patient"].tolist() == [who]
    assert who not in set(way[-1].differences["patient"])


def test_a_stent_that_came_out_since_is_news_and_another_reason_is_a_correction(registry):
    tables = plain_tables(registry)
    out = tables["stents"].index[tables["stents"]["end_reason"] == "planned"][:2]
    tables["stents"].loc[out, "end_reason"] = ["in_place", "occluded"]
    way = steps(versions(registry_from(tables), registry).differences)
    assert [(each.reason, each.differences["was"].tolist()) for each in way] == [
        ("added", ["in_place"]),
        ("corrected", ["occluded"]),
    ]


def test_only_some_patients_have_only_their_records(both):
    few = only_patients(both, ["P0002", "P0003"])
    for tables in (few.then, few.now):
        assert {*tables["sessions"]["patient_id"], *tables["scans"]["patient_id"]} == {"P0002", "P0003"}
        assert set(tables["instrument_uses"]["session_id"]) <= set(tables["sessions"]["session_id"])
