"""Check digits of national numbers, accounts and cards: which digits could really have been issued."""

from __future__ import annotations

from datetime import date
from functools import cache

import numpy as np

_DNI = "TRWAGMYFPDXBNJZSQVHLCKE"
_VERHOEFF_D = (
    "0123456789",
    "1234067895",
    "2340178956",
    "3401289567",
    "4012395678",
    "5987604321",
    "6598710432",
    "7659821043",
    "8765932104",
    "9876543210",
)
_VERHOEFF_P = (
    "0123456789",
    "1576283094",
    "5803796142",
    "8916043527",
    "9453126870",
    "4286573901",
    "2793806415",
    "7046913258",
)


def _weighted(digits: str, weights: tuple[int, ...]) -> int:
    return sum(int(digit) * weight for digit, weight in zip(digits, weights, strict=False))


def modulus_11(digits: str) -> bool:
    """Ten digits with weights 10 to 2 and a check digit modulo 11 (the NHS number)."""
    check = -_weighted(digits[:9], tuple(range(10, 1, -1))) % 11
    return len(digits) == 10 and check != 10 and check == int(digits[9])


def luhn(digits: str) -> bool:
    """Every second digit from the right doubled, modulo 10 (cards, Canadian and Swedish numbers)."""
    doubled = sum(sum(divmod(2 * int(digit), 10)) for digit in digits[-2::-2])
    return (doubled + sum(int(digit) for digit in digits[-1::-2])) % 10 == 0


def dutch(digits: str) -> bool:
    """Nine digits, weights 9 to 2 and −1, modulo 11 (BSN)."""
    return len(digits) == 9 and _weighted(digits, (9, 8, 7, 6, 5, 4, 3, 2, -1)) % 11 == 0


def ean_13(digits: str) -> bool:
    """Thirteen digits, weights 1 and 3, modulo 10 (the Swiss AHV number begins with 756)."""
    return len(digits) == 13 and _weighted(digits, (1, 3) * 7) % 10 == 0


def french(digits: str) -> bool:
    """Thirteen digits and a key of two modulo 97 (NIR)."""
    return len(digits) == 15 and digits[0] in "123478" and 97 - int(digits[:13]) % 97 == int(digits[13:])


def belgian(digits: str) -> bool:
    """Nine digits, of birth in the last century or this, and a key modulo 97."""
    return len(digits) == 11 and int(digits[9:]) in {97 - int(lead + digits[:9]) % 97 for lead in ("", "2")}


def spanish(code: str) -> bool:
    """Eight digits, or X, Y or Z and seven, with a letter modulo 23 (DNI, NIE)."""
    number = code[:-1].translate(str.maketrans("XYZ", "012"))
    return number.isdigit() and _DNI[int(number) % 23] == code[-1]


def polish(digits: str) -> bool:
    """Eleven digits modulo 10 with a possible birthday (PESEL)."""
    month = int(digits[2:4]) % 20
    sound = _weighted(digits, (1, 3, 7, 9, 1, 3, 7, 9, 1, 3, 1)) % 10 == 0
    return len(digits) == 11 and sound and 1 <= month <= 12 and 1 <= int(digits[4:6]) <= 31


def german_tax(digits: str) -> bool:
    """Eleven digits, ISO 7064 modulo 11, 10 (Steuer-ID)."""
    product = 10
    for digit in digits[:10]:
        product = ((int(digit) + product) % 10 or 10) * 2 % 11
    return len(digits) == 11 and digits[0] != "0" and (11 - product) % 10 == int(digits[10])


def norwegian(digits: str) -> bool:
    """Eleven digits, two check digits modulo 11, a birthday in front (fødselsnummer)."""
    first = (3, 7, 6, 1, 8, 9, 4, 5, 2, 1)
    second = (5, 4, 3, 2, 7, 6, 5, 4, 3, 2, 1)
    sums = _weighted(digits, first), _weighted(digits, second)
    return len(digits) == 11 and not any(each % 11 for each in sums) and is_birthday(digits[:6])


def brazilian(digits: str) -> bool:
    """Eleven digits, two check digits modulo 11 (CPF)."""
    wanted = (_weighted(digits, tuple(range(n, 1, -1))) * 10 % 11 % 10 for n in (10, 11))
    return len(digits) == 11 and len(set(digits)) > 1 and [*wanted] == [int(digits[9]), int(digits[10])]


def verhoeff(digits: str) -> bool:
    """Twelve digits by Verhoeff's scheme (Aadhaar)."""
    state = 0
    for place, digit in enumerate(reversed(digits)):
        state = int(_VERHOEFF_D[state][int(_VERHOEFF_P[place % 8][int(digit)])])
    return len(digits) == 12 and state == 0


def chinese(code: str) -> bool:
    """Seventeen digits and a check character, ISO 7064 modulo 11, 2."""
    total = sum(int(digit) * pow(2, 17 - place, 11) for place, digit in enumerate(code[:17]))
    return "10X98765432"[total % 11] == code[17].upper()


def iban(code: str) -> bool:
    """Letters as numbers, the first four characters last, modulo 97 leaves 1."""
    moved = code[4:] + code[:4]
    return 15 <= len(code) <= 34 and int("".join(str(int(character, 36)) for character in moved)) % 97 == 1


def german_insured(code: str) -> bool:
    """A letter and nine digits, the last a check digit (Krankenversichertennummer)."""
    digits = f"{ord(code[0]) - 64:02d}{code[1:]}"
    doubled = (int(digit) * (1 + place % 2) for place, digit in enumerate(digits[:-1]))
    return sum(sum(divmod(each, 10)) for each in doubled) % 10 == int(digits[-1])


def is_birthday(digits: str) -> bool:
    """Whether six digits can be a day written ddmmyy or yymmdd."""
    pairs = int(digits[:2]), int(digits[2:4]), int(digits[4:6])
    return _is_day(pairs[0], pairs[1]) or _is_day(pairs[2], pairs[1])


def are_birthdays(numbers: np.ndarray) -> np.ndarray:
    """`is_birthday` of numbers (n,) of six digits each."""
    first, second, third = numbers // 10_000, numbers // 100 % 100, numbers % 100
    return _days()[first, second] | _days()[third, second]


@cache
def _days() -> np.ndarray:
    """(100, 100) `_is_day` of two digits and two digits."""
    return np.array([[_is_day(day, month) for month in range(100)] for day in range(100)])


def _is_day(day: int, month: int) -> bool:
    try:
        return bool(date(2000, month, day))
    except ValueError:
        return False
