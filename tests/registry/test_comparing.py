"""One registry at two times, record by record."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from builders.earlier import plain_tables, renumbered, without
from necrostats import read_registry
from necrostats.registry.comparing import AT_THE_LOCK, versions
from necrostats.registry.tables import registry_from

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"


@pytest.fixture(scope="module")
def registry():
    return read_registry(SYNTHETIC)


def told(then, now):
    """The differences without the labels of records."""
    return versions(registry_from(then), now).differences.drop(columns="record").to_dict("records")


def test_a_registry_does_not_differ_from_itself(registry):
    assert told(plain_tables(registry), registry) == []


@pytest.mark.parametrize("shift", [1, 2, 7])
def test_a_record_is_known_by_what_it_says_where_every_id_is_another(registry, shift):
    assert told(renumbered(plain_tables(registry), shift), registry) == []


def test_with_ids_numbered_anew_only_what_was_added_and_corrected_differs(registry):
    then = without(plain_tables(registry), "adverse_events", "E0003")
    then["stents"].loc[then["stents"]["stent_id"] == "T00003", "removed_day"] = 145
    found = told(renumbered(then, 40), registry)
    assert [(each["kind"], each["table"], each["column"], each["was"], each["now"]) for each in found] == [
        ("changed", "stents", "removed_day", "145", "146"),
        ("added", "adverse_events", "", "", ""),
    ]


def test_a_corrected_day_is_a_correction_where_ids_are_kept(registry):
    then = plain_tables(registry)
    then["adverse_events"].loc[then["adverse_events"]["event_id"] == "E0003", "day"] = 9
    (found,) = told(then, registry)
    assert (found["kind"], found["patient"], found["column"], found["was"], found["now"]) == (
        "changed",
        "P0016",
        "day",
        "9",
        "7",
    )


def test_a_record_that_is_gone_keeps_its_id_and_says_so_where_another_has_it_now(registry):
    then = plain_tables(registry)
    gone = then["adverse_events"].iloc[[0]].assign(patient_id="P0002", session_id="S00003", day=30, stent_id=pd.NA)
    changed = {**then, "adverse_events": pd.concat([gone, then["adverse_events"].iloc[1:]], ignore_index=True)}
    both = versions(registry_from(changed), registry)
    assert sorted(both.differences["kind"]) == ["added", "removed"]
    assert both.then["adverse_events"]["event_id"].iloc[0] == f"E0001{AT_THE_LOCK}"


def test_references_follow_the_record_they_mean(registry):
    both = versions(registry_from(renumbered(plain_tables(registry), 1)), registry)
    for name in both.now:
        pd.testing.assert_frame_equal(both.then[name], both.now[name])
