from dataclasses import replace

import numpy as np
import pytest

from builders.debridements import registry_of, series
from necrostats import lead, table
from necrostats.measures import compare_yield
from necrostats.measures.yield_words import MEASURE

PAIR = {"reference": "snare", "primary": "powered_debrider"}
WORDS = ("trace", "small", "moderate", "large")


def _worded(sessions):
    """The same sessions with a word for each quarter of the amounts."""
    edges = np.quantile([each.low for each in sessions], (0.25, 0.5, 0.75))
    return [replace(each, low=None, words=WORDS[int(np.searchsorted(edges, each.low))]) for each in sessions]


def _rows(result):
    return result.frame[result.frame["measure"].astype(object) == MEASURE]


def test_where_all_yields_are_words_the_odds_of_a_larger_one_are_all_there_is():
    result = compare_yield(registry_of(*_worded(series(40))), **PAIR)
    row = _rows(result).iloc[0]
    assert len(result.frame) == 1 and row["low"] > 1 and (row["sessions"], row["sessions_ref"]) == (60, 60)
    text = str(lead(result, sentences=2))
    assert (
        text.startswith("These data cannot tell")
        and "In sessions with a yield in words only, powered debrider v snare" in text
    )
    assert table(result).frame.iloc[0, 0] == "powered debrider v snare (primary)"


def test_words_add_nothing_to_the_ratios_of_amounts():
    sessions = series(40)
    mixed = sessions[:60] + _worded(sessions)[60:]
    with_words, without = (compare_yield(registry_of(*each), **PAIR).frame for each in (mixed, sessions[:60]))
    ratios = with_words[with_words["measure"].astype(object) != MEASURE]
    assert ratios["estimate"].tolist() == pytest.approx(without["estimate"].tolist())
    assert set(_rows(compare_yield(registry_of(*mixed), **PAIR))["variable"]) == {"yield, in words only"}


@pytest.mark.parametrize(("sessions", "compared"), [(4, False), (5, True)])
def test_a_class_needs_five_sessions_in_words(sessions, compared):
    worded = _worded(series(30))
    snare = [each for each in worded if "snare" in each.uses]
    other = [each for each in worded if "snare" not in each.uses][:sessions]
    assert bool(len(_rows(compare_yield(registry_of(*snare, *other), **PAIR)))) == compared


def test_words_that_tell_the_classes_apart_completely_have_no_odds_ratio_and_say_so():
    apart = [replace(each, low=None, words="small" if "snare" in each.uses else "large") for each in series(20)]
    result = compare_yield(registry_of(*apart), **PAIR)
    assert np.isnan(_rows(result)["estimate"].iloc[0]) and "SEPARATION" in [note.code for note in result.notes]
