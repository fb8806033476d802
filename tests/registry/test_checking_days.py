"""The order of days."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, finding, registry_of, rules, set_aside, spoilt, with_row

LATE = {
    "sessions": {"session_id": "S09", "collection_id": "C02", "session_type": "inspection"},
    "stents": {"stent_id": "T09", "stent_type": "percutaneous"},
    "scans": {"scan_id": "N09", "collection_id": "C02"},
    "reviews": {},
    "adverse_events": {"event_id": "E09", "event_type": "bleeding"},
    "other_interventions": {"kind": "ercp"},
}


def late(table, day):
    column = "placed_day" if table == "stents" else "day"
    return with_row(table, patient_id="P02", **LATE[table], **{column: day})


@pytest.mark.parametrize("table", LATE)
def test_nothing_happens_after_death_and_the_death_stays(tmp_path, table):
    registry = registry_of(tmp_path, late(table, "81"))
    assert [rule for _, _, rule in set_aside(registry)] == ["AFTER_DEATH"]
    assert finding(registry, "AFTER_DEATH").value == "81"
    assert registry.patients["death_day"].tolist()[1] == 80


@pytest.mark.parametrize("table", LATE)
def test_the_day_of_death_itself_is_not_after_it(tmp_path, table):
    assert set_aside(registry_of(tmp_path, late(table, "80"))) == []


def test_nothing_is_known_after_the_data_lock(tmp_path):
    registry = registry_of(tmp_path, spoilt("reviews", 0, day="201"))
    assert set_aside(registry) == [("reviews", 2, "AFTER_LOCK")]


def test_a_thing_after_death_and_lock_is_told_once(tmp_path):
    registry = registry_of(tmp_path, late("reviews", "300"))
    assert rules(registry) == ["AFTER_DEATH"]


def test_a_death_known_as_a_range_is_contradicted_only_after_its_last_day(tmp_path):
    tables = late("reviews", "85")
    tables["patients"][1].update(death_day_latest="90", last_contact_day="85")
    assert registry_of(tmp_path, tables).findings.empty


@pytest.mark.parametrize(("table", "column"), [("sessions", "day"), ("stents", "placed_day")])
def test_a_session_or_a_stent_before_day_0_stops(tmp_path, table, column):
    registry = registry_of(tmp_path, spoilt(table, -1, **{column: "-3"}))
    assert finding(registry, "OFF_SCALE").scope == "row"


def test_a_stent_removed_before_it_was_placed_loses_the_day_of_removal(tmp_path):
    registry = registry_of(tmp_path, spoilt("stents", 0, placed_day="30"))
    assert set_aside(registry, "cell") == [("stents", 2, "removed_day")]
    assert rules(registry) == ["REMOVED_BEFORE_PLACED"]


@pytest.mark.parametrize(("first", "last"), [("40", "39"), ("", "39")])
def test_a_range_of_days_runs_forward(tmp_path, first, last):
    registry = registry_of(tmp_path, spoilt("stents", 0, removed_day=first, removed_day_latest=last))
    assert rules(registry) == ["DAY_RANGE"]
    assert registry.stents["removed_day_latest"].isna().all()


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ({"removed_day": "29"}, True),
        ({"removed_day": "28"}, False),
        ({"removed_day": "", "end_reason": "in_place"}, True),
        ({"removed_day": "", "end_reason": ""}, False),
        ({"removed_day": "60", "stent_type": "double_pigtail"}, False),
    ],
)
def test_a_lumen_apposing_stent_known_to_have_stayed_over_28_days_is_noted(tmp_path, cells, said):
    registry = registry_of(tmp_path, spoilt("stents", 0, **cells))
    assert rules(registry) == (["LONG_IN_PLACE"] if said else [])
    if said:
        assert finding(registry, "LONG_IN_PLACE").severity == "notes"


def test_sessions_written_against_their_days_are_asked_about(tmp_path):
    tables = faultless()
    tables["sessions"].append(
        {"session_id": "S04", "patient_id": "P01", "collection_id": "C01", "day": "3", "session_type": "inspection"}
    )
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["OUT_OF_ORDER"]
    assert finding(registry, "OUT_OF_ORDER").row == 5


def test_periods_that_run_against_the_days_are_asked_about(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, period="2025Q4"))
    assert finding(registry, "OUT_OF_ORDER").column == "period"


def test_an_event_before_its_session_is_asked_about(tmp_path):
    registry = registry_of(tmp_path, spoilt("adverse_events", 0, day="6"))
    assert rules(registry) == ["EVENT_BEFORE_SESSION"]


def test_an_event_that_may_lie_on_its_session_is_not(tmp_path):
    assert registry_of(tmp_path, spoilt("adverse_events", 0, day="6", day_latest="7")).findings.empty


def test_the_rarer_kind_of_period_is_set_aside(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, period="P03"))
    assert finding(registry, "TWO_KINDS_OF_PERIOD").value == "P03"
    assert set_aside(registry, "cell") == [("sessions", 3, "period")]
    assert registry.periods == ("2026Q1",)


def test_private_periods_alone_are_fine(tmp_path):
    tables = faultless()
    for row in (*tables["patients"], *tables["sessions"]):
        row["index_period" if "index_period" in row else "period"] = "P07"
    registry = registry_of(tmp_path, tables)
    assert registry.findings.empty and registry.periods == ("P07",)


@pytest.mark.parametrize("table", LATE)
def test_a_record_after_the_last_contact_is_asked_about_and_kept(tmp_path, table):
    tables = late(table, "70")
    tables["patients"][1]["last_contact_day"] = "69"
    registry = registry_of(tmp_path, tables)
    assert rules(registry) == ["AFTER_LAST_CONTACT"]
    found = finding(registry, "AFTER_LAST_CONTACT")
    assert (found.severity, found.value, found.table) == ("asks", "70", table)
    assert registry.set_aside.empty


def test_a_record_on_the_day_of_the_last_contact_is_not_after_it(tmp_path):
    tables = late("reviews", "70")
    tables["patients"][1]["last_contact_day"] = "70"
    assert registry_of(tmp_path, tables).findings.empty


def test_a_record_that_may_lie_before_the_last_contact_is_not_asked_about(tmp_path):
    tables = late("reviews", "60")
    tables["reviews"][-1]["day_latest"] = "75"
    tables["patients"][1]["last_contact_day"] = "65"
    assert registry_of(tmp_path, tables).findings.empty


def test_a_record_after_the_data_lock_is_set_aside_and_not_asked_about_too(tmp_path):
    tables = spoilt("reviews", 0, day="201")
    tables["reviews"].append({"patient_id": "P01", "day": "42", "symptom_free": "yes"})
    assert rules(registry_of(tmp_path, tables)) == ["AFTER_LOCK"]


@pytest.mark.parametrize(("day", "aside"), [("199", 0), ("200", 0), ("201", 1)])
def test_a_record_on_the_day_of_the_data_lock_itself_is_known(tmp_path, day, aside):
    assert len(set_aside(registry_of(tmp_path, spoilt("reviews", 0, day=day)))) == aside
