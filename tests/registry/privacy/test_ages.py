from __future__ import annotations

import pytest

from necrostats.registry.privacy.ages import is_age, may_be_age
from necrostats.registry.privacy.known_words import KnownWords


@pytest.mark.parametrize(
    "text",
    ["94 year old", "93-jahrig", "91 ans", "turned 90", "edad 93", "ninety-one years old", "a nonagenarian",
     "in her late nineties", "quatre-vingt-dix ans"],
)  # fmt: skip
def test_an_age_over_89_with_a_word_for_years_is_certain(text: str) -> None:
    assert is_age(text)


@pytest.mark.parametrize("text", ["95M frail", "92F", "F 92", "m/91", "♀ 96", "97 yrs", "93a", "w 91 J."])
def test_a_number_over_89_beside_a_sex_or_a_sign_of_years_may_be_an_age(text: str) -> None:
    assert may_be_age(text)


@pytest.mark.parametrize(
    "text",
    ["89 year old", "95 ml", "HR 95", "SpO2 92%", "temp 98 F", "100 W", "120 J", "90 min", "w/ 100 cc",
     "ninety percent", "ninety-day mortality", "91 mm", "12 F 95/60", "190M"],
)  # fmt: skip
def test_measures_heats_and_younger_ages_are_none(text: str) -> None:
    assert not is_age(text)
    assert not may_be_age(text)


def test_a_sex_that_a_layout_lists_does_not_excuse_an_age_beside_it() -> None:
    known = KnownWords(("F", "M"))
    assert known.are_all_of("F 2")
    assert not known.are_all_of("F 92")


def test_a_listed_word_does_not_excuse_a_day_beside_it_unless_the_whole_is_listed() -> None:
    known = KnownWords(("died", "net", "died 03/04"))
    assert known.are_all_of("net 2/3")
    assert known.are_all_of("died 03/04")
    assert not known.are_all_of("died 11/9")
