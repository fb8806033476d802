from dataclasses import replace

import pytest

from builders.debridements import Session, registry_of, series
from necrostats import lead, table
from necrostats.errors import ChoiceError
from necrostats.measures import instrument_combinations, yield_overlap


def test_classes_used_together_are_counted_whatever_their_order():
    sessions = [
        Session(patient="P1", day=3, uses=["net", "snare"]),
        Session(patient="P2", day=3, uses=["snare", "net", "lavage"]),
        Session(patient="P1", day=9, uses=["snare"]),
        Session(patient="P1", day=12, uses=[]),
    ]
    result = instrument_combinations(registry_of(*sessions))
    assert instrument_combinations(registry_of(*sessions), fewest=2).frame.iloc[0].tolist() == [
        "snare + net",
        2,
        2,
        2,
        0,
    ]
    assert result.frame["classes_used"].tolist() == [
        "no class recorded",
        "snare",
        "1 further combination, each in fewer than 3",
    ]
    assert int(result.frame["necrosectomies"].sum()) == 4
    assert str(lead(result)) == "2 of 4 necrosectomies (50 %) were shared by several classes."


def test_without_necrosectomies_there_is_an_empty_table():
    result = instrument_combinations(registry_of())
    assert result.frame.empty and str(lead(result)) == "There are no necrosectomies." and table(result).caption


def _cell(result, variable, level, group):
    rows = result.frame
    return int(
        rows[(rows["variable"] == variable) & (rows["level"] == level) & (rows["group"] == group)]["events"].iloc[0]
    )


def test_every_session_stands_in_one_cell_of_each_variable():
    sessions = series(20)
    sessions[0] = replace(sessions[0], texture=None)
    result = yield_overlap(registry_of(*sessions))
    totals = result.frame.groupby(["variable", "group"], observed=True)["events"].sum()
    assert (totals == 30).all()
    assert _cell(result, "texture", "not recorded", "snare") == 1


def test_a_level_at_which_one_of_the_two_was_never_used_is_named():
    sessions = [
        replace(each, texture="tough" if "snare" in each.uses and each.day == 10 else "soft") for each in series(20)
    ]
    notes = [note.text for note in yield_overlap(registry_of(*sessions), reference="snare").notes]
    assert notes == ["Powered debrider and snare cannot be compared at texture tough."]


def test_classes_that_never_meet_cannot_be_compared_at_any_level():
    sessions = [replace(each, texture="tough" if "snare" in each.uses else "soft") for each in series(20)]
    notes = [note.text for note in yield_overlap(registry_of(*sessions), over=("texture",), reference="snare").notes]
    assert notes == ["Powered debrider and snare cannot be compared at any texture."]


def test_what_nobody_recorded_is_no_lack_of_overlap():
    sessions = [replace(each, texture=None) for each in series(20)]
    assert yield_overlap(registry_of(*sessions, volume=None)).notes == ()


def test_only_what_has_levels_to_meet_at_may_be_asked_for():
    with pytest.raises(ChoiceError, match="infection"):
        yield_overlap(registry_of(*series(4)), over=("infection",))
