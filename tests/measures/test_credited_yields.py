from dataclasses import replace

import numpy as np
import pytest

from builders.debridements import Session, registry_of
from necrostats.definitions.attribution import ADDITIVE, EQUAL_SHARES, MEASURED_SHARES, ONE_CLASS, PRIMARY, RULES
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures.credited_yields import CLASSES, credited, debridements, known_per, known_unit
from necrostats.registry.codebook import MOST_LIKELY_YIELD

SNARE, NET = CLASSES.index("snare"), CLASSES.index("net")


def _rows(rule, *sessions, unit="ml", per="session"):
    """(class, low, high) of every row that a rule credits."""
    found = credited(debridements(registry_of(*sessions)), rule, unit, per)
    names = ["" if place < 0 else CLASSES[place] for place in found.instrument]
    return list(zip(names, found.low.tolist(), found.high.tolist(), strict=True))


def _left_out(rule, *sessions, unit="ml", per="session"):
    found = credited(debridements(registry_of(*sessions)), rule, unit, per)
    return {reason: number for reason, number in found.left_out.items() if number}


ALONE = Session(patient="P1", day=5, uses=["snare"], low=80.0)
SHARED = Session(
    patient="P1",
    day=9,
    uses={"snare": {"minutes": 10, "passes": 1}, "net": {"minutes": 30, "passes": 3, "is_primary": True}},
    low=300.0,
)


def test_the_default_rule_counts_sessions_with_one_class_alone():
    assert _rows(ONE_CLASS, ALONE, SHARED) == [("snare", 80.0, 80.0)]
    assert _left_out(ONE_CLASS, ALONE, SHARED) == {"necrosectomies with more than one instrument class": 1}


def test_the_declared_primary_gets_all_and_without_one_a_shared_session_does_not_count():
    assert _rows(PRIMARY, ALONE, SHARED) == [("snare", 80.0, 80.0), ("net", 300.0, 300.0)]
    undeclared = Session(patient="P1", day=9, uses=["snare", "net"], low=300.0)
    assert _left_out(PRIMARY, undeclared) == {"shared necrosectomies without a declared primary": 1}


def test_equal_shares_halve_a_session_of_two_classes():
    assert _rows(EQUAL_SHARES, ALONE, SHARED) == [("snare", 80, 80), ("snare", 150, 150), ("net", 150, 150)]


def test_measured_shares_go_by_minutes_and_by_passes_where_minutes_are_missing():
    assert _rows(MEASURED_SHARES, SHARED) == [("snare", 75.0, 75.0), ("net", 225.0, 225.0)]
    by_passes = replace(SHARED, uses={"snare": {"passes": 2}, "net": {"passes": 1, "minutes": 30}})
    assert _rows(MEASURED_SHARES, by_passes) == [("snare", 200.0, 200.0), ("net", 100.0, 100.0)]
    neither = replace(SHARED, uses={"snare": {"minutes": 5}, "net": {"passes": 1}})
    assert _left_out(MEASURED_SHARES, neither) == {"shared necrosectomies without minutes or passes of each class": 1}


def test_the_additive_rule_keeps_every_session_once_and_whole():
    assert _rows(ADDITIVE, ALONE, SHARED) == [("", 80.0, 80.0), ("", 300.0, 300.0)]


@pytest.mark.parametrize("rule", (EQUAL_SHARES, MEASURED_SHARES))
def test_the_parts_of_a_session_add_up_to_the_whole_and_no_class_gets_all(rule):
    amounts = [low for _, low, _ in _rows(rule, SHARED)]
    assert sum(amounts) == pytest.approx(300.0) and max(amounts) < 300.0


def test_a_range_is_divided_at_both_ends_and_an_open_end_stays_open():
    ranged = replace(SHARED, low=200.0, high=400.0)
    assert _rows(EQUAL_SHARES, ranged) == [("snare", 100, 200), ("net", 100, 200)]
    above = replace(SHARED, low=500.0, high=None, exact=False)
    assert _rows(EQUAL_SHARES, above) == [("snare", 250, np.inf), ("net", 250, np.inf)]


def test_yields_recorded_by_instrument_come_before_any_division_when_every_one_has_its_own():
    parted = {
        "snare": {"yield_low": 40, "yield_high": 40, "yield_unit": "ml"},
        "net": {"yield_low": 260, "yield_high": 260, "yield_unit": "ml"},
    }
    assert _rows(EQUAL_SHARES, replace(SHARED, uses=parted)) == [("snare", 40, 40), ("net", 260, 260)]
    assert _rows(ADDITIVE, replace(SHARED, uses=parted, low=None)) == [("", 300, 300)]
    half = {"snare": parted["snare"], "net": {"minutes": 5}}
    assert _rows(EQUAL_SHARES, replace(SHARED, uses=half)) == [("snare", 150, 150), ("net", 150, 150)]


def test_the_yield_of_the_one_instrument_stands_for_the_session():
    one = {"snare": {"yield_low": 60, "yield_high": 60, "yield_unit": "ml"}}
    assert _rows(ONE_CLASS, replace(ALONE, uses=one, low=None)) == [("snare", 60, 60)]
    assert _rows(ONE_CLASS, replace(ALONE, uses=one)) == [("snare", 60, 60)]


def test_two_uses_of_one_class_are_one_class():
    registry = registry_of(ALONE)
    twice = registry.instrument_uses.iloc[[0, 0]].reset_index(drop=True)
    found = debridements(replace(registry, instrument_uses=twice))
    assert found.classes.tolist() == [1]


def test_lavage_and_peroxide_are_no_class():
    assert _rows(ONE_CLASS, replace(ALONE, uses=["snare", "lavage", "peroxide"])) == [("snare", 80, 80)]


def test_everything_left_out_is_counted_once_with_its_reason():
    sessions = [
        ALONE,
        replace(ALONE, uses=[]),
        replace(ALONE, uses=["other"]),
        replace(ALONE, uses=["unknown"]),
        replace(ALONE, low=None, words="large"),
        replace(ALONE, low=None),
        replace(ALONE, about={"yield_includes_lavage": True}),
        replace(ALONE, unit="g"),
        replace(ALONE, low=0.0, high=None, exact=False),
    ]
    assert _left_out(ONE_CLASS, *sessions) == {
        "necrosectomies without a recorded instrument class": 1,
        "necrosectomies with an instrument of class other or unknown": 2,
        "necrosectomies with a yield in words only": 1,
        "necrosectomies without a yield": 1,
        "necrosectomies whose yield includes lavage fluid": 1,
        "necrosectomies whose yield is given in another unit than ml": 1,
        'necrosectomies with a yield of "more than 0"': 1,
    }
    for rule in RULES:
        found = credited(debridements(registry_of(*sessions)), rule, "ml")
        assert np.unique(found.row).size + sum(found.left_out.values()) == len(sessions)


def test_zero_is_no_yield_and_less_than_50_is_some():
    found = credited(
        debridements(registry_of(replace(ALONE, low=0.0), replace(ALONE, low=0.0, high=50.0))), ONE_CLASS, "ml"
    )
    assert found.nothing.tolist() == [True, False]
    assert np.isneginf(found.only(~found.nothing).scale[0]).all()


def test_per_minute_divides_by_the_minutes_of_debridement_or_else_of_the_instruments():
    timed = replace(ALONE, about={"minutes_debridement": 20.0})
    assert _rows(ONE_CLASS, timed, per="minute") == [("snare", 4.0, 4.0)]
    of_use = replace(ALONE, uses={"snare": {"minutes": 40, "passes": 8}})
    assert _rows(ONE_CLASS, of_use, per="minute") == [("snare", 2.0, 2.0)]
    assert _rows(ONE_CLASS, of_use, per="pass") == [("snare", 10.0, 10.0)]
    assert _left_out(ONE_CLASS, ALONE, per="minute") == {"necrosectomies without minutes": 1}


def test_a_share_cleared_of_100_percent_is_more_than_99_5_and_never_infinite():
    cleared = [replace(ALONE, unit="percent_cleared", low=each) for each in (50.0, 100.0)]
    low, high = credited(debridements(registry_of(*cleared)), ONE_CLASS, "percent_cleared").scale
    assert low == pytest.approx([0.0, np.log(199)]) and high.tolist() == [0.0, np.inf]


def test_necrosectomies_are_numbered_by_day_within_the_patient():
    registry = registry_of(Session(patient="P1", day=20), Session(patient="P2", day=3), Session(patient="P1", day=4))
    assert debridements(registry).number.tolist() == [2, 1, 1]


def test_the_unit_is_the_one_most_yields_are_in():
    found = debridements(registry_of(replace(ALONE, unit="g"), replace(ALONE, unit="g"), ALONE))
    assert known_unit(None, found) == known_unit("", found) == "g" and known_unit("%", found) == "percent_cleared"
    with pytest.raises(ChoiceError, match="litres"):
        known_unit("litres", found)


def test_what_cannot_be_asked_is_refused():
    with pytest.raises(ChoiceError, match="Yield per minute does not go with the rule"):
        known_per("minute", EQUAL_SHARES)
    with pytest.raises(ChoiceError, match="hour"):
        known_per("hour", ONE_CLASS)
    with pytest.raises(DesignError, match="narrowed to 2025Q1"):
        debridements(registry_of(ALONE).during("2025Q1"))


@pytest.mark.parametrize(("more", "doubtful"), [(-1, False), (0, False), (1, True)])
def test_a_yield_is_doubtful_only_above_what_is_likely(more, doubtful):
    session = Session(patient="P1", day=5, uses=["snare"], low=float(MOST_LIKELY_YIELD + more))
    assert debridements(registry_of(session)).doubtful.tolist() == [doubtful]
