"""The small words of one unit."""

from __future__ import annotations

import pytest

from builders.exports import WIDE, read_wide, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.cells import RawCell
from necrostats.registry.export.layout import OwnWords
from necrostats.registry.export.layout_reading import parse_layout

WORDS = """[words]
unknown = ["sans objet", "np"]
no_event = ["tranquille"]
negation = ["jamais"]
about = "grosso modo"
to = "up-to-about"
[[sheet]]"""


def read(tmp_path, **cells):
    layout = WIDE.replace("[[sheet]]", WORDS, 1)
    return read_wide(tmp_path, wide_line("1", DEN1_date="10/03/24", **cells), layout=layout).registry


def test_a_units_words_for_unknown_and_for_nothing_count_in_every_column(tmp_path):
    registry = read(tmp_path, DEN1_yield="Sans objet", DEN1_compl="tranquille", DEN1_tools="NP")
    session = registry.sessions.query("day == 9").iloc[0]
    assert session["events_checked"]
    assert registry.sessions["yield_low"].isna().all()
    assert registry.instrument_uses.empty and registry.adverse_events.empty


def test_a_unit_may_deny_and_estimate_in_its_own_words(tmp_path):
    registry = read(tmp_path, DEN1_yield="grosso modo 200", DEN1_compl="jamais bled")
    session = registry.sessions.query("day == 9").iloc[0]
    assert (session["yield_low"], session["yield_approximate"], session["yield_as_written"]) == (
        200,
        True,
        "grosso modo 200",
    )
    assert registry.adverse_events.empty and session["events_checked"]


def test_a_word_counts_whole_and_a_number_has_no_words():
    words = OwnWords.of({"out": ("raus",), "unknown": ("np",)})
    assert words.plain(RawCell(text="100 RAUS")).text == "100 out"
    assert words.plain(RawCell(text="100 heraus")).text == "100 heraus"
    assert words.plain(RawCell(text="raus", value=3)).text == "raus"
    assert words.plain(RawCell(text="raus"), dated=True).text == "raus"
    assert words.plain(RawCell(text="np"), dated=True).text == "n/a"


def test_a_list_that_does_not_exist_is_named_with_the_nearest():
    with pytest.raises(RegistryError, match="negation"):
        parse_layout(WIDE.replace("[[sheet]]", '[words]\nnegatoin = ["x"]\n[[sheet]]', 1))
