from __future__ import annotations

import pytest

from necrostats.registry.privacy.given_names import (
    GIVEN_NAMES,
    SURNAMES,
    is_given_name,
    is_name_in_lower_case,
    is_surname,
)  # fmt: skip
from necrostats.registry.privacy.vocabulary import is_ordinary


def test_the_lists_are_folded_lower_case_and_hold_each_name_once() -> None:
    for name in GIVEN_NAMES | SURNAMES:
        assert name.isascii() and name.islower() and name.isalpha(), name
    assert len(GIVEN_NAMES) > 900
    assert len(SURNAMES) > 250


def test_few_names_on_the_lists_are_hidden_by_an_ordinary_word() -> None:
    assert sum(map(is_ordinary, GIVEN_NAMES | SURNAMES)) < 15


@pytest.mark.parametrize(
    "word", ["siobhan", "wojciech", "nguyen", "papadakis", "stefanopoulos", "lisiewicz", "karadoglu"]
)
def test_a_name_that_means_nothing_else_is_known_in_lower_case(word: str) -> None:
    assert is_name_in_lower_case(word)


@pytest.mark.parametrize(
    "word",
    ["frank", "mark", "grace", "claire", "rossi", "bruno", "hans", "rene", "walker", "rosa", "elisa", "viridis"],
)
def test_a_name_that_is_a_word_of_some_language_is_none_in_lower_case(word: str) -> None:
    assert not is_name_in_lower_case(word)


def test_short_capitals_are_abbreviations_and_eponyms_are_no_surnames() -> None:
    assert is_surname("Rao") and not is_surname("RAO")
    assert not is_surname("Crohn") and is_given_name("Zofia")
