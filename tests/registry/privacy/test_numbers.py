"""Numbers published as examples by those who issue them (from memory): none belongs to a person."""

from __future__ import annotations

import numpy as np
import pytest

from necrostats.registry.privacy.numbers import (
    are_birthdays,
    brazilian,
    chinese,
    dutch,
    ean_13,
    french,
    german_insured,
    german_tax,
    iban,
    is_birthday,
    luhn,
    modulus_11,
    polish,
    spanish,
    verhoeff,
)

EXAMPLES = (
    (modulus_11, "9434765919"),
    (luhn, "4111111111111111"),
    (dutch, "111222333"),
    (ean_13, "7569217076985"),
    (french, "255081416802538"),
    (spanish, "12345678Z"),
    (polish, "44051401359"),
    (german_tax, "86095742719"),
    (brazilian, "11144477735"),
    (verhoeff, "999941057058"),
    (chinese, "11010519491231002X"),
    (iban, "DE89370400440532013000"),
    (iban, "GB82WEST12345698765432"),
    (german_insured, "A123456780"),
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
    assert is_birthday("310156") and is_birthday("560131")
    assert not is_birthday("313156")


def test_birthdays_among_many_numbers_are_those_of_each_number() -> None:
    numbers = np.arange(0, 1_000_000, 7)
    assert are_birthdays(numbers).tolist() == [is_birthday(f"{each:06d}") for each in numbers]
