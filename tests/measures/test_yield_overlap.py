from dataclasses import replace

import pytest

from builders.debridements import registry_of, series
from necrostats.errors import ChoiceError
from necrostats.measures import yield_overlap


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
