from __future__ import annotations

import pytest

from necrostats.registry.privacy import Sheet, find_identifiers
from necrostats.registry.privacy.dates import clues_in_dates, has_full_date
from necrostats.registry.privacy.folding import fold


def _rules(text: str) -> set[str]:
    return {clue.rule for clue in clues_in_dates(fold(text), dates_belong=False)}


@pytest.mark.parametrize(
    "text", ["12-III-2024", "20.XI.23", "06Jun2023", "12·03·2024", "令和5年3月4日", "3rd of the 4th"]
)
def test_a_date_is_full_in_roman_figures_without_blanks_with_raised_points_and_in_eras(text: str) -> None:
    assert has_full_date(fold(text))


@pytest.mark.parametrize(
    "text",
    ["seen 12/03", "12.04. weich", "op 5.3.", "next 17/10", "from 12/8", "2024-W12", "died 11th", "RIP April",
     "died 11/9", "on the fourteenth of March", "zweiter Mai", "12 lipca", "5. května", "bled on Boxing Day",
     "an Heiligabend"],
)  # fmt: skip
def test_a_day_in_words_figures_or_feasts_is_a_part_of_a_date(text: str) -> None:
    assert "a day and month, or a month and year" in _rules(text)


@pytest.mark.parametrize(
    "text",
    ["2/3 cleared", "CT 3/12", "4/52", "10/7 abx", "from 10/8 cm", "CRP 12.5.", "12 X 10 cm", "IV abx", "9 V 20",
     "Q3 2026", "Christmas tree adaptor", "first session", "second net", "1986", "coll b 1800 ml"],
)  # fmt: skip
def test_fractions_measures_and_counts_are_no_dates(text: str) -> None:
    assert _rules(text) == set()


@pytest.mark.parametrize("text", ["year of birth 1949", "b. 1946", "birthday tomorrow, 65", "yob 1951"])
def test_a_year_of_birth_is_told(text: str) -> None:
    assert "a word for birth with a number" in _rules(text)


@pytest.mark.parametrize("name", ["12.03.2024", "DEN 12.03.2024.xlsx"])
def test_the_year_of_a_date_is_no_ending_of_a_file(name: str) -> None:
    found = find_identifiers([Sheet(file="a.csv", name=name, header=["x"], columns={"x": ["1"]})])
    assert {each.kind for each in found} == {"date"}
