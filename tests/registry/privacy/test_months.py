"""Months, ordinals and feasts as words."""

from __future__ import annotations

import re

import pytest

from necrostats.registry.privacy.folding import fold
from necrostats.registry.privacy.months import ABBREVIATED, FEASTS, ORDINALS, SPELT


@pytest.mark.parametrize("words", [ABBREVIATED, SPELT])
def test_every_month_is_written_as_folded_text_is(words):
    listed = words.split("|")
    assert "" not in listed
    assert [word for word in listed if fold(word).casefold() != word] == []


@pytest.mark.parametrize(
    "word", ["first", "twenty-third", "thirty first", "einundzwanzigsten", "ersten", "premier", "primero"]
)
def test_days_in_words_are_ordinals(word):
    assert re.fullmatch(ORDINALS, word)


@pytest.mark.parametrize(("text", "is_feast"), [("boxing day", True), ("karfreitag", True), ("christmas tree", False)])
def test_a_feast_is_a_day_and_a_tree_is_none(text, is_feast):
    assert bool(re.search(FEASTS, text)) == is_feast
