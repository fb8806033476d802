from __future__ import annotations

import pytest

from necrostats.registry.privacy.deeds import is_initialled, names_by_deed, words_addressed


@pytest.mark.parametrize(
    "text", ["Brandelow rang", "Brandelow's family here", "Brandelow list", "Brandelow verstandigt"]
)
def test_what_only_a_person_does_or_has_makes_a_capital_word_a_name(text: str) -> None:
    assert [*names_by_deed(text)] == ["Brandelow"]


@pytest.mark.parametrize("text", ["mr brandelow", "Brandelow, please check", "brandelow wants home"])
def test_who_is_addressed_or_wants_is_told_even_in_lower_case(text: str) -> None:
    assert [word.casefold() for word in words_addressed(text)] == ["brandelow"]


@pytest.mark.parametrize("text", ["mr angiography", "mr liver", "cavity, please check"])
def test_imaging_and_things_are_not_addressed(text: str) -> None:
    assert [*words_addressed(text)] == []


@pytest.mark.parametrize("text", ["done by KLM", "initials HKO", "signed A.B.", "initials+dob HO1403"])
def test_initials_beside_a_word_of_signing_are_a_persons(text: str) -> None:
    assert is_initialled(text)


@pytest.mark.parametrize("text", ["placed by IR", "reviewed by ICU", "KLM", "done with APC", "net x2"])
def test_teams_and_initials_by_themselves_are_not(text: str) -> None:
    assert not is_initialled(text)
