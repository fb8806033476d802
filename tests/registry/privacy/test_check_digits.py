"""Numbers published as examples by those who issue them (from memory): none belongs to a person."""

from __future__ import annotations

import numpy as np
import pytest

from necrostats.registry.privacy import check_digits

EXAMPLES = (
    (check_digits.modulus_11, "9434765919"),
    (check_digits.luhn, "4111111111111111"),
    (check_digits.dutch, "111222333"),
    (check_digits.ean_13, "7569217076985"),
    (check_digits.french, "255081416802538"),
    (check_digits.spanish, "12345678Z"),
    (check_digits.polish, "44051401359"),
    (check_digits.german_tax, "86095742719"),
    (check_digits.brazilian, "11144477735"),
    (check_digits.verhoeff, "999941057058"),
    (check_digits.chinese, "11010519491231002X"),
    (check_digits.iban, "DE89370400440532013000"),
    (check_digits.iban, "GB82WEST12345698765432"),
    (check_digits.german_insured, "A123456780"),
)


@pytest.mark.parametrize(("sound", "example"), EXAMPLES)
def test_a_published_example_is_sound(sound, example: str) -> None:
    assert sound(example)


@pytest.mark.parametrize(("sound", "example"), EXAMPLES)
def test_one_changed_digit_is_not_sound(sound, example: str) -> None:
    place = next(index for index in range(5, len(example)) if example[index].isdigit())
    changed = example[:place] + str((int(example[place]) + 1) % 10) + example[place + 1 :]
    assert not sound(changed)


def test_six_digits_are_a_birthday_only_if_the_calendar_has_the_day() -> None:
    assert check_digits.is_birthday("310156") and check_digits.is_birthday("560131")
    assert not check_digits.is_birthday("313156")


def test_birthdays_among_many_numbers_are_those_of_each_number() -> None:
    numbers = np.arange(0, 1_000_000, 7)
    assert check_digits.are_birthdays(numbers).tolist() == [check_digits.is_birthday(f"{each:06d}") for each in numbers]
