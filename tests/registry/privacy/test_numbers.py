"""Numbers published as examples by those who issue them (from memory): none belongs to a person."""

from __future__ import annotations

import numpy as np
import pytest

from necrostats.registry.privacy.numbers import are_birthdays, clues_in_numbers, is_birthday

ACCOUNT, CHECKED = "account", "national_number"
EXAMPLES = (
    ("9434765919", CHECKED),  # British, NHS
    ("5500005555555559", ACCOUNT),
    ("111222333", CHECKED),  # Dutch
    ("756.9217.0769.85", CHECKED),  # Swiss
    ("255081416802538", CHECKED),  # French
    ("12345678Z", CHECKED),  # Spanish
    ("X1234567L", CHECKED),
    ("44051401359", CHECKED),  # Polish
    ("86095742719", CHECKED),  # German, tax
    ("15108695088", CHECKED),  # Norwegian
    ("85073003328", CHECKED),  # Belgian
    ("11144477735", CHECKED),  # Brazilian
    ("234123412346", CHECKED),  # Indian
    ("11010519491231002X", CHECKED),  # Chinese
    ("DE89370400440532013000", ACCOUNT),
    ("GB82WEST12345698765432", ACCOUNT),
    ("A123456780", "health_plan"),  # German, insurance
)


def _checked(text: str) -> set[str]:
    return {clue.kind for clue in clues_in_numbers(text) if "valid check digit" in clue.rule}


@pytest.mark.parametrize(("example", "kind"), EXAMPLES)
def test_a_published_example_is_found(example: str, kind: str) -> None:
    assert kind in _checked(example)


@pytest.mark.parametrize(("example", "kind"), EXAMPLES)
def test_one_changed_digit_is_not_found(example: str, kind: str) -> None:
    place = next(index for index in range(5, len(example)) if example[index].isdigit())
    changed = example[:place] + str((int(example[place]) + 1) % 10) + example[place + 1 :]
    assert kind not in _checked(changed)


@pytest.mark.parametrize("digits", ["75308478793", "21267333340", "120431337194"])
def test_a_sound_check_digit_is_not_enough_where_a_country_has_further_rules(digits: str) -> None:
    assert not _checked(digits)


def test_six_digits_are_a_birthday_only_if_the_calendar_has_the_day() -> None:
    assert is_birthday("310156") and is_birthday("560131")
    assert not is_birthday("313156")


def test_birthdays_among_many_numbers_are_those_of_each_number() -> None:
    numbers = np.arange(0, 1_000_000, 7)
    assert are_birthdays(numbers).tolist() == [is_birthday(f"{each:06d}") for each in numbers]


# How mobile telephones are grouped in Spain, Italy, Portugal, France (without the 0) and Poland: common practice, no
# source. The numbers are invented.
@pytest.mark.parametrize(
    "number",
    [
        "655 12 34 56",
        "600 55 01 24",
        "600 550 124",
        "655-12-34-56",
        "912 345 678",
        "91 234 56 78",
        "6 12 34 56 78",
        "333 12 34 567",
        "347 123 45 67",
        "501 234 567",
        "501-234-567",
        "22 123 45 67",
    ],
)
@pytest.mark.parametrize("around", ["{}", "hija {}", "llamar al {} si fiebre", "250 ml, {}"])
def test_a_mobile_telephone_without_a_prefix_is_found_in_a_text(number: str, around: str) -> None:
    assert {clue.kind for clue in clues_in_numbers(around.format(number))} & {"telephone"}


@pytest.mark.parametrize(
    "text",
    [
        "200 300 400",
        "600 550 400",
        "700 650 500 ml",
        "120 85 60",
        "150x120x85",
        "112 105 98 mm",
        "655 12 34 56 ml",
        "12 10 8",
        "6 12 18 24 mm",
        "600 ml 12 34 56 %",
        "day 12 34 56",
        "500, 300, 250, 120",
        "12.000",
        "CRP 312 WBC 14 Hb 92",
        "1 2 3 4 5 6 7 8",
        "90 120 60 30 min",
    ],
)
def test_amounts_sizes_and_counts_are_no_telephone(text: str) -> None:
    assert not [clue for clue in clues_in_numbers(text) if clue.kind == "telephone"]
