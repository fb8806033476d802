from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from builders.stented import two_arms, with_stents
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import adverse_event_rates, compare_adverse_events
from necrostats.measures.adverse_event_comparisons import COMPARED_UNITS, MEASURES_OF, TESTS_OF, asked_for
from necrostats.stats.comparisons import boschloo, compare_proportions, rate_ratio, risk_difference
from necrostats.stats.comparisons.rate_ratio import clustered_odds_ratio


def _row(result, group="male", variable=None):
    table = result.frame[result.frame["group"] == group]
    return (table if variable is None else table[table["variable"] == variable]).iloc[0]


def test_patients_are_compared_by_the_rule_of_two_shares():
    row = _row(compare_adverse_events(two_arms(12, 30, 6, 40), by="sex", reference="female"))
    expected = compare_proportions(12, 30, 6, 40)
    assert tuple(row[["events", "n", "events_ref", "n_ref"]]) == (12, 30, 6, 40)
    for name, value in {"estimate": expected.estimate, "low": expected.low, "high": expected.high}.items():
        assert row[name] == pytest.approx(value)
    assert (row["p_value"], row["test"], row["rule"]) == (expected.p_value, expected.test, expected.rule)


def test_the_rule_is_printed_and_an_alternative_is_one_argument_away():
    registry = two_arms(8, 10, 2, 10)
    chosen = compare_adverse_events(registry, by="sex", reference="female")
    assert "Boschloo's exact test: a group has fewer than 5 events (2)." in chosen.method.estimator
    asked = compare_adverse_events(registry, by="sex", reference="female", test="chi-squared", method="newcombe")
    assert _row(asked)["test"] == "uncorrected χ² test"
    assert _row(asked)["low"] == pytest.approx(risk_difference(8, 10, 2, 10, method="newcombe").low)
    assert _row(chosen)["p_value"] == pytest.approx(boschloo(8, 10, 2, 10).p_value)


@pytest.mark.parametrize("measure", ["risk ratio", "odds ratio"])
def test_the_measure_is_one_argument_away(measure):
    row = _row(compare_adverse_events(two_arms(12, 30, 6, 40), by="sex", reference="female", measure=measure))
    assert row["measure"] == measure
    assert row["estimate"] == pytest.approx(compare_proportions(12, 30, 6, 40, measure=measure).estimate)


def test_sessions_are_compared_in_their_patients():
    registry = two_arms(12, 30, 7, 40, sessions=2)
    row = _row(compare_adverse_events(registry, by="sex", reference="female", unit="sessions"))
    men = np.repeat(np.r_[np.zeros(40), np.ones(30)], 3)
    affected = np.zeros(210)
    affected[np.r_[np.arange(7) * 3, 120 + np.arange(12) * 3]] = 1
    expected = clustered_odds_ratio(affected, men, np.repeat(np.arange(70), 3))
    assert tuple(row[["events", "n", "events_ref", "n_ref"]]) == (12, 90, 7, 120)
    assert row["estimate"] == pytest.approx(expected.estimate)
    assert row["p_value"] == pytest.approx(expected.p_value)


def test_few_events_in_sessions_go_to_firth_and_the_notes_speak_of_patients():
    result = compare_adverse_events(two_arms(0, 20, 6, 20, sessions=1), by="sex", reference="female", unit="sessions")
    assert _row(result)["high"] < np.inf
    assert {"SEPARATION", "CLUSTER_IGNORED"} <= {note.code for note in result.notes}
    assert not any("cluster" in note.text for note in result.notes)


def test_rates_are_compared_exactly_or_robustly_where_events_crowd():
    result = compare_adverse_events(two_arms(12, 30, 6, 40), by="sex", reference="female", unit="100 patient-days")
    row = _row(result)
    expected = rate_ratio(12, row["n"], 6, row["n_ref"])
    assert (row["estimate"], row["low"]) == pytest.approx((expected.estimate, expected.low))
    crowded = registry_of(
        *[Course(events=[(2, "bleeding")] * 4, about={"sex": "male"})] * 2,
        *[Course(about={"sex": "male"})] * 8,
        *[Course(events=[(2, "bleeding")], about={"sex": "female"})] * 6,
        *[Course(about={"sex": "female"})] * 4,
    )
    robust = compare_adverse_events(crowded, by="sex", reference="female", unit="100 patient-days")
    exact = compare_adverse_events(crowded, by="sex", reference="female", unit="100 patient-days", test="exact")
    assert "robust by patient" in _row(robust)["rule"]
    assert _row(robust)["high"] > _row(exact)["high"]
    assert "OVERDISPERSED" in {note.code for note in exact.notes}


def test_stent_days_are_compared_too():
    registry = with_stents(
        registry_of(Course(events=[(5, "stent_migration")], about={"sex": "male"}), Course(about={"sex": "female"})),
        {"patient_id": "P1", "placed_day": 0, "removed_day": 20},
        {"patient_id": "P2", "placed_day": 0, "removed_day": 40},
    )
    row = _row(compare_adverse_events(registry, by="sex", reference="female", unit="100 stent-days"))
    assert tuple(row[["events", "n", "events_ref", "n_ref"]]) == (1, 20, 0, 40)
    assert np.isinf(row["high"])


def test_several_types_are_exploratory_with_the_p_of_holm():
    registry = two_arms(12, 30, 6, 40)
    types = ("bleeding", "any adverse event")
    result = compare_adverse_events(registry, by="sex", reference="female", event_type=types)
    rows = [_row(result, variable=each) for each in types]
    assert rows[0]["p_value"] == pytest.approx(2 * rows[0]["p_unadjusted"])
    note = next(note for note in result.notes if note.code == "MULTIPLICITY")
    assert note.text.startswith("Exploratory: 2 comparisons, 2 of them tested")
    assert not [n for n in compare_adverse_events(registry, by="sex").notes if n.code == "MULTIPLICITY"]


def test_an_empty_group_stays_and_is_not_a_comparison():
    row = _row(compare_adverse_events(two_arms(12, 30, 6, 40), by="sex", reference="female"), "other")
    assert (row["n"], row["n_ref"]) == (0, 40)
    assert np.isnan([row["estimate"], row["p_value"]]).all()


def test_the_counts_are_those_of_the_rates():
    registry = two_arms(12, 30, 6, 40)
    rates = adverse_event_rates(registry, by="sex", event_type="bleeding").frame
    for unit in ("patients", "sessions", "100 patient-days"):
        row = _row(compare_adverse_events(registry, by="sex", reference="female", event_type="bleeding", unit=unit))
        there = rates[rates["unit"] == unit].set_index("group")
        assert tuple(row[["events", "n"]]) == tuple(there.loc["male", ["events", "n"]])
        assert tuple(row[["events_ref", "n_ref"]]) == tuple(there.loc["female", ["events", "n"]])


def test_patients_are_not_compared_by_something_of_the_session():
    with pytest.raises(DesignError, match="one patient can be in both groups"):
        compare_adverse_events(registry_of(Course()), by="period")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"unit": "days"}, "unit of a comparison"),
        ({"measure": "rate ratio"}, "risk difference"),
        ({"unit": "sessions", "measure": "risk difference"}, "odds ratio"),
        ({"test": "gee"}, "boschloo"),
        ({"unit": "sessions", "method": "newcombe"}, "for patients only"),
        ({"reference": "men"}, "female"),
    ],
)
def test_a_choice_that_does_not_fit_is_answered_with_the_list(options, said):
    with pytest.raises(ChoiceError, match=said):
        compare_adverse_events(two_arms(1, 3, 1, 3), by="sex", **options)


@pytest.mark.parametrize("unit", ["patients", "sessions", "100 patient-days"])
def test_nobody_and_no_events_are_an_empty_answer_with_a_note(unit):
    nobody = compare_adverse_events(registry_of(Course()).select([False]), by="sex", unit=unit)
    assert nobody.frame["estimate"].isna().all()
    none = compare_adverse_events(two_arms(0, 6, 0, 6), by="sex", reference="female", unit=unit)
    assert "ZERO_EVENTS" in {note.code for note in none.notes}


@pytest.mark.parametrize("unit", COMPARED_UNITS)
def test_each_unit_has_a_measure_of_its_own_by_default(unit):
    asked = asked_for(unit, None, None, None, 0.95)
    assert asked.measure == MEASURES_OF[unit][0]
    assert asked.test is None


@pytest.mark.parametrize("unit", COMPARED_UNITS)
def test_a_test_of_another_unit_is_answered_with_those_of_this_one(unit):
    other = next(name for each in COMPARED_UNITS for name in TESTS_OF[each] if name not in TESTS_OF[unit])
    with pytest.raises(ChoiceError, match=TESTS_OF[unit][0]):
        asked_for(unit, None, None, other, 0.95)


@pytest.mark.parametrize(
    ("events", "test", "rule"),
    [(4, "exact test", "(4)"), (5, "robust by unit", "robust by patient"), (6, "robust by unit", "robust by patient")],
)
def test_a_robust_test_needs_five_events_in_each_group(events, test, rule):
    crowded = registry_of(
        *[Course(events=[(2, "bleeding")] * 4, about={"sex": "male"})] * 2,
        *[Course(about={"sex": "male"})] * 8,
        *[Course(events=[(2, "bleeding")], about={"sex": "female"})] * events,
        *[Course(about={"sex": "female"})] * 4,
    )
    result = compare_adverse_events(crowded, by="sex", reference="female", unit="100 patient-days")
    assert test in _row(result)["test"] and rule in _row(result)["rule"]
