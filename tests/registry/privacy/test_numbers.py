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
