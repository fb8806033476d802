"""Names and numbers of nobody: surnames are made of syllables, numbers come from ranges kept free for examples."""

from __future__ import annotations

import numpy as np

_ONSETS = "Br Dr Fl Gr Kl Pr Sk St Th Tr Wr B D F G H K L M N P R S T V W"
_MIDDLES = "a e i o u ae ei ou an en or ar el il"
_MONTHS = "JanFebMarAprMayJunJulAugSepOctNovDec"
_CLOSES = "bert dale field gard ham kamp ley low man mark mer nack ner novic rup sen ski stad ton vik wald well"


class Invented:
    """Draws invented identifiers from one generator."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def pick(self, *choices: str) -> str:
        return str(choices[self.rng.integers(len(choices))])

    def digits(self, count: int, first: str = "123456789") -> str:
        return self.pick(*first) + "".join(str(each) for each in self.rng.integers(0, 10, count - 1))

    def surname(self) -> str:
        return self.pick(*_ONSETS.split()) + self.pick(*_MIDDLES.split()) + self.pick(*_CLOSES.split())

    def given(self) -> str:
        common = ("Anna", "Peter", "Maria", "Thomas", "Sarah", "Michael", "Elena", "James", "Ingrid", "Carlos")
        made_up = (
            self.pick("Al", "Be", "Jo", "Ka", "Mi", "Ro", "Ta") + self.pick("dira", "lwen", "rasso", "vinka", "zimir"),
        )
        return self.pick(*(common * 2), *made_up)

    def place(self) -> str:
        return (
            self.pick(*_ONSETS.split())
            + self.pick(*_MIDDLES.split())
            + self.pick("borough", "bury", "mouth", "ingen", "hausen", "ville", "stad")
        )

    def day(self, first_year: int = 1935, last_year: int = 2026) -> tuple[int, int, int]:
        return tuple(int(self.rng.integers(low, high + 1)) for low, high in ((1, 28), (1, 12), (first_year, last_year)))

    def date(self) -> str:
        day, month, year = self.day(2019)
        short = _MONTHS[3 * month - 3 : 3 * month]
        return self.pick(
            f"{day:02d}/{month:02d}/{year}",
            f"{day}.{month}.{year % 100:02d}",
            f"{year}-{month:02d}-{day:02d}",
            f"{day} {short} {year}",
            f"{short} {day}, {year}",
            f"{day}-{short}-{year % 100:02d}",
        )

    def birthday(self) -> str:
        day, month, year = self.day(1935, 1985)
        return self.pick(f"{day:02d}/{month:02d}/{year}", f"{day}.{month}.{year}", f"{year}-{month:02d}-{day:02d}")

    def nhs(self) -> str:
        while True:
            nine = "999" + self.digits(6)
            check = -sum(int(digit) * weight for digit, weight in zip(nine, range(10, 1, -1), strict=True)) % 11
            if check < 10:
                return nine + str(check)

    def luhn(self, start: str, length: int) -> str:
        body = start + self.digits(length - len(start) - 1)
        doubled = sum(sum(divmod(2 * int(digit), 10)) for digit in body[::-2])
        return body + str(-(doubled + sum(int(digit) for digit in body[-2::-2])) % 10)

    def iban(self) -> str:
        body = self.digits(18)
        return f"DE{98 - int(body + '131400') % 97:02d}{body}"

    def dni(self) -> str:
        number = self.digits(8)
        return number + "TRWAGMYFPDXBNJZSQVHLCKE"[int(number) % 23]

    def telephone(self) -> str:
        last = f"{self.rng.integers(0, 1000):03d}"
        return self.pick(
            f"07700 900{last}",
            f"01632 960{last}",
            f"020 7946 0{last}",
            f"+44 7700 900{last}",
            f"(212) 555-0{last}",
            f"212-555-0{last}",
            f"+1 212 555 0{last}",
            f"030 23125 {last}",
            f"01 99 00 {last[:2]} 10",
        )
