"""

Months, ordinals and feasts as words.
"""

from __future__ import annotations

import re

import pytest

from necrostats.registry.privacy import Sheet, find_identifiers
from necrostats.registry.privacy.columns import KnownWords
from necrostats.registry.privacy.dates import (
    ABBREVIATED,
    FEASTS,
    ORDINALS,
    SPELT,
    clues_in_dates,
    has_full_date,
    is_age,
    may_be_age,
)
from necrostats.registry.text import fold


def _rules(text: str) -> set[str]:
    return {clue.rule for clue in clues_in_dates(fold(text), dates_belong=False)}


@pytest.mark.parametrize(
    "text", ["12-III-2024", "20.XI.23", "06Jun2023", "12·03·2024", "令和5年3月4日", "3rd of the 4th"]
)
def test_a_date_is_full_in_roman_figures_without_blanks_with_raised_points_and_in_eras(text: str) -> None:
    assert has_full_date(fold(text))


@pytest.mark.parametrize(
    "text",
    [
        "seen 12/03",
        "12.04. weich",
        "op 5.3.",
        "next 17/10",
        "from 12/8",
        "2024-W12",
        "died 11th",
        "RIP April",
        "died 11/9",
        "on the fourteenth of March",
        "zweiter Mai",
        "12 lipca",
        "5. května",
        "bled on Boxing Day",
        "an Heiligabend",
    ],
)
def test_a_day_in_words_figures_or_feasts_is_a_part_of_a_date(text: str) -> None:
    assert "a day and month, or a month and year" in _rules(text)


@pytest.mark.parametrize(
    "text",
    [
        "2/3 cleared",
        "CT 3/12",
        "4/52",
        "10/7 abx",
        "from 10/8 cm",
        "CRP 12.5.",
        "12 X 10 cm",
        "IV abx",
        "9 V 20",
        "Q3 2026",
        "Christmas tree adaptor",
        "first session",
        "second net",
        "1986",
        "coll b 1800 ml",
    ],
)
def test_fractions_measures_and_counts_are_no_dates(text: str) -> None:
    assert _rules(text) == set()


@pytest.mark.parametrize("text", ["year of birth 1949", "b. 1946", "birthday tomorrow, 65", "yob 1951"])
def test_a_year_of_birth_is_told(text: str) -> None:
    assert "a word for birth with a number" in _rules(text)


@pytest.mark.parametrize("name", ["12.03.1964", "DEN 12.03.1964.xlsx", "DEN 12.03.64", "pulled 12.03.2024, 4.5.1950"])
def test_the_year_of_a_date_is_no_ending_of_a_file(name: str) -> None:
    found = find_identifiers([Sheet(file="a.csv", name=name, header=["x"], columns={"x": ["1"]})])
    assert {each.kind for each in found} == {"date"}


@pytest.mark.parametrize(
    "name", ["DEN 12.03.2024.xlsx", "DEN_2025-12-31", "export 20260930", "1.1.2005", "Stand 3.4.26"]
)
def test_the_day_on_which_an_export_was_pulled_or_locked_tells_nobody(name: str) -> None:
    sheet = Sheet(file=name, name=name, header=["x"], columns={"x": ["1"]})
    assert find_identifiers([sheet], [("cell A1, above the headings", f"data pulled {name}")]) == []


@pytest.mark.parametrize("text", ["born 12.03.2024", "31.12.2004", "Meier 12.03.2024"])
def test_a_birth_an_older_day_or_a_name_beside_a_date_is_still_told(text: str) -> None:
    assert find_identifiers([], [("comment", text)])


@pytest.mark.parametrize(
    "text",
    [
        "94 year old",
        "93-jahrig",
        "91 ans",
        "turned 90",
        "edad 93",
        "ninety-one years old",
        "a nonagenarian",
        "in her late nineties",
        "quatre-vingt-dix ans",
    ],
)
def test_an_age_over_89_with_a_word_for_years_is_certain(text: str) -> None:
    assert is_age(text)


@pytest.mark.parametrize("text", ["95M frail", "92F", "F 92", "m/91", "♀ 96", "97 yrs", "93a", "w 91 J."])
def test_a_number_over_89_beside_a_sex_or_a_sign_of_years_may_be_an_age(text: str) -> None:
    assert may_be_age(text)


@pytest.mark.parametrize(
    "text",
    [
        "89 year old",
        "95 ml",
        "HR 95",
        "SpO2 92%",
        "temp 98 F",
        "100 W",
        "120 J",
        "90 min",
        "w/ 100 cc",
        "ninety percent",
        "ninety-day mortality",
        "91 mm",
        "12 F 95/60",
        "190M",
    ],
)
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
