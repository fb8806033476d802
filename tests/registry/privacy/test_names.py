""""""

from __future__ import annotations

import pytest

from necrostats.registry.privacy.names import (
    GIVEN_NAMES,
    SURNAMES,
    is_given_name,
    is_initialled,
    is_name_in_lower_case,
    is_ordinary,
    is_surname,
    may_name_in_other_script,
    names_by_deed,
    words_addressed,
)
from necrostats.registry.text import fold


@pytest.mark.parametrize(
    "text",
    ["王小明", "田中花子様", "山田先生 performed", "김민수 환자", "محمد العلي", "दीपा वर्मा", "דוד לוי", "สมชาย ใจดี"],
)
def test_a_short_text_or_a_title_in_a_script_without_capitals_may_name_somebody(text: str) -> None:
    assert may_name_in_other_script(fold(text))


@pytest.mark.parametrize(
    "text", ["出血", "없음", "نزيف", "אין", "ไม่มี", "無", "solid", "Нет", "本日は出血なく順調に経過しています"]
)
def test_the_commonest_findings_and_sentences_name_nobody(text: str) -> None:
    assert not may_name_in_other_script(fold(text))


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
