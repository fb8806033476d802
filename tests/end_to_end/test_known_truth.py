"""The measures cover the true values of the invented registry (synthetic_registry/truth.json)."""

import json

import pytest

from necrostats import bundled
from necrostats.measures import (
    adverse_event_rates,
    compare_adverse_events,
    compare_yield,
    debridement_yield,
    sessions_to_resolution,
    time_to_first_event,
    time_to_resolution,
)
from necrostats.present import words
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import registry_from

TRUTH = json.loads((bundled.synthetic_registry() / "truth.json").read_text(encoding="utf-8"))
RESOLUTION, EVENTS, YIELD = TRUTH["resolution"], TRUTH["adverse_events"]["rates"], TRUTH["debridement"]


@pytest.fixture(scope="module")
def registry():
    return read_registry(bundled.synthetic_registry() / "tidy")


def _covers(row, truth):
    assert row["low"] <= truth <= row["high"], (row.to_dict(), truth)


def _one(table, **where):
    for name, value in where.items():
        table = table[table[name] == value]
    assert len(table) == 1
    return table.iloc[0]


@pytest.mark.parametrize("cause", ["resolved", "death", "surgery", "percutaneous drain"])
@pytest.mark.parametrize("day", [30, 60, 90, 180])
def test_incidence_by_day_covers_the_truth(registry, cause, day):
    row = _one(time_to_resolution(registry).frame, cause=cause, days=day)
    _covers(row, RESOLUTION["by_day"]["documented"][cause][str(day)]["value"])


@pytest.mark.parametrize("sessions", range(7))
def test_incidence_by_session_covers_the_truth(registry, sessions):
    row = _one(sessions_to_resolution(registry).frame, cause="resolved", sessions=sessions)
    _covers(row, RESOLUTION["within_sessions"]["documented"]["resolved"][str(sessions)]["value"])


def test_medians_cover_the_truth(registry):
    days = _one(time_to_resolution(registry).medians, cause="resolved")
    _covers(days, RESOLUTION["median_day"]["documented"])
    assert _one(sessions_to_resolution(registry).medians, cause="resolved")["estimate"] == RESOLUTION["median_sessions"]


@pytest.mark.parametrize(
    ("unit", "name"),
    [
        ("patients", "patients with an event, of those with a session looked at"),
        ("sessions", "sessions followed by an event"),
        ("100 patient-days", "events per 100 patient-days, 31 calendar days a session"),
    ],
)
def test_adverse_event_rates_cover_the_truth(registry, unit, name):
    row = _one(adverse_event_rates(registry).frame, variable="any adverse event", unit=unit)
    _covers(row, EVENTS[name]["as recorded"]["value"])


def test_the_quarter_with_the_real_rise_in_bleeding_stands_out_and_no_other_does(registry):
    rates = adverse_event_rates(registry, by="period", event_type="bleeding").frame
    ordinary = EVENTS["sessions followed by bleeding, ordinary quarters"]["as recorded"]["value"]
    by_session = rates[rates["unit"] == "sessions"].set_index("group")
    out = by_session.index[by_session["low"] > ordinary]
    assert list(out) == ["2025Q3"]


@pytest.mark.parametrize("instrument", ["snare", "net", "forceps", "powered_debrider"])
def test_geometric_means_cover_the_truth(registry, instrument):
    row = _one(debridement_yield(registry).frame, variable="yield, ml", group=instrument)
    truth = YIELD["geometric_mean_ml_one_class_sessions_with_some_yield"][instrument]["value"]
    assert row["low"] <= truth <= row["high"]


@pytest.mark.parametrize(
    ("unit", "event_type", "name"),
    [
        ("sessions", "bleeding", "sessions followed by bleeding"),
        ("patients", "bleeding", "patients with bleeding, of all patients"),
    ],
)
def test_rates_of_bleeding_cover_the_truth(registry, unit, event_type, name):
    row = _one(adverse_event_rates(registry, event_type=event_type).frame, unit=unit)
    _covers(row, EVENTS[name]["as recorded"]["value"])


def test_the_quarter_of_the_rise_covers_its_own_truth_and_not_that_of_the_others(registry):
    rates = adverse_event_rates(registry, by="period", event_type="bleeding", units=("sessions",)).frame
    raised = _one(rates, group="2025Q3")
    _covers(raised, EVENTS["sessions followed by bleeding, 2025Q3"]["as recorded"]["value"])
    assert raised["low"] > EVENTS["sessions followed by bleeding, ordinary quarters"]["as recorded"]["value"]


def test_the_quarter_of_the_rise_has_by_far_the_highest_odds_of_bleeding(registry):
    found = compare_adverse_events(
        registry, by="period", reference="2025Q2", event_type="bleeding", unit="sessions"
    ).frame.set_index("group")
    assert found["estimate"].idxmax() == "2025Q3"
    raised = found.loc["2025Q3"]
    assert raised["low"] <= TRUTH["adverse_events"]["bleeding_odds_ratio_2025Q3"]["value"] <= raised["high"]
    assert (found["p_unadjusted"] < 0.05).sum() <= 1


def test_first_bleeds_by_day_180_lie_below_all_patients_who_ever_bleed(registry):
    row = _one(time_to_first_event(registry, event_type="bleeding").frame, cause="bleeding", days=180)
    assert row["low"] <= EVENTS["patients with bleeding, of all patients"]["full follow-up"]["value"]
    assert row["estimate"] < 0.25


def test_unchecked_sessions_change_the_denominator_and_the_text_says_so(registry):
    unchecked = int((~registry.sessions["events_checked"].fillna(False).astype(bool)).sum())
    every = registry.sessions.assign(events_checked=True)
    looked = registry_from({**registry.tables, "sessions": every}, recorded=registry.recorded)
    as_recorded, as_if = (adverse_event_rates(each, event_type="bleeding") for each in (registry, looked))
    here, there = (_one(result.frame, unit="sessions") for result in (as_recorded, as_if))
    assert 0 < there["n"] - here["n"] <= unchecked
    assert here["events"] == there["events"]
    assert f"{there['n'] - here['n']} sessions of {there['n']} left out of every denominator" in words(as_recorded)
    assert "left out of every denominator" not in words(as_if)


@pytest.mark.parametrize("model", ("adjusted", "within patients"))
def test_the_true_ratio_of_yields_lies_inside_the_interval_of_its_models(registry, model):
    frame = compare_yield(registry, reference="snare", primary="powered_debrider").frame
    _covers(_one(frame, primary=True, measure=f"ratio of geometric means, {model}"), YIELD["yield_ratio"]["value"])
