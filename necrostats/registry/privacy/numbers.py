"""Numbers that belong to a person: telephones, national numbers, accounts, long numbers without a unit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from functools import cache

import numpy as np
from stdnum import ean, luhn
from stdnum.be import nn
from stdnum.br import cpf
from stdnum.de import idnr
from stdnum.es import dni, nie
from stdnum.gb import nhs
from stdnum.in_ import aadhaar
from stdnum.iso7064 import mod_11_2, mod_97_10
from stdnum.nl import bsn
from stdnum.no import fodselsnummer
from stdnum.pl import pesel

from necrostats.registry.privacy.suspicions import Clue


def french(digits: str) -> bool:
    """Thirteen digits and a key of two modulo 97 (NIR)."""
    return len(digits) == 15 and digits[0] in "123478" and 97 - int(digits[:13]) % 97 == int(digits[13:])


def spanish(code: str) -> bool:
    """Eight digits, or X, Y or Z and seven, with a letter modulo 23 (DNI, NIE)."""
    return dni.is_valid(code) or nie.is_valid(code)


def swiss(digits: str) -> bool:
    """Thirteen digits that begin with 756, modulo 10 (AHV)."""
    return digits.startswith("756") and ean.is_valid(digits)


def iban_key(code: str) -> bool:
    """Letters as numbers, the first four characters last, modulo 97 leaves 1."""
    return 15 <= len(code) <= 34 and mod_97_10.is_valid(code[4:] + code[:4])


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


_TELEPHONE = Clue(kind="telephone", rule="it is written like a telephone number", hard=True)
_FAX = Clue(kind="fax", rule="the word fax with a number", hard=True)
_NATIONAL = Clue(kind="national_number", rule="it is written like a national number", hard=True)
_CHECKED = Clue(kind="national_number", rule="a national number with a valid check digit", hard=True)
_INSURED = Clue(kind="health_plan", rule="an insurance number with a valid check digit", hard=True)
_ACCOUNT = Clue(kind="account", rule="an account or card number with valid check digits", hard=True)
_CODE = Clue(kind="record_number", rule="a code of six digits or more inside a text")
_NAMED = Clue(kind="record_number", rule="a name that holds a code of six digits or more")
LONG_NUMBER = Clue(kind="record_number", rule="a number of seven digits or more")

_SEPARATED = r"[ ().\-/]{0,3}+"
_INTERNATIONAL = re.compile(rf"(?<![\w+])(?:\+|00){_SEPARATED}[1-9](?:{_SEPARATED}\d){{7,14}}+(?!\d)")
_TRUNK = re.compile(r"(?<![\d.,+\-/])\(?0[1-9](?:[ ()\-/.]{0,3}+\d){7,10}+(?!\d|[.,]\d)")
_NORTH_AMERICAN = re.compile(r"(?<![\d.,\-/])(?:1[ .-])?(?:\(\d{3}\) ?|\d{3}[ .-])\d{3}[ .-]\d{4}(?!\d|[.,/-]\d)")
_CALLED = re.compile(
    r"\b(?:tele?(?:ph?one?|fon[o]?)?|phone|mobile|mob|cell ?phone|handy|fon|ring|call|text|bleep|pager|extension|ext|"
    r"whats ?app|contact|rufnummer|movil|portable|dect|blp|tfno|tlf|tel ?nr|telefoon|telefone|puh|gsm|piepser|funk|"
    r"llam(?:ar|e|en|ad)|avisar|chiamare|appel(?:er|ez)|joindre|ligar|anrufen|erreichbar|zadzwonic|dzwonic|ringa|"
    r"durchwahl|dw|interno|anexo|poste)\b[^\w+(]{0,4}"
    r"(?:(?:no|nr|on|number|at|is|back|him|her|me|us|them|son|daughter|wife|husband|mum|dad|ward|unit|reg|gp|family|"
    r"via|under|unter|au|al|den)\b[^\w+(]{0,3}){0,3}"
    r"x?[+(]?\d(?:[ ().\-/]{0,2}+\d){3,14}",
    re.IGNORECASE,
)
_MOBILE = Clue(kind="telephone", rule="nine or ten digits in groups, as mobile telephones are written")
_PARTED = r"[ .\-]"
# The groups of mobile numbers (Spain, Italy, Portugal, France without its 0, Poland and its towns), nothing measured.
_GROUPED = re.compile(
    r"(?<![\d.,+\-/×x*])(?:(?:"
    rf"(?:3\d|4[5-9]|[5-9]\d)\d(?P<a>{_PARTED})\d\d(?P=a)\d\d(?P=a)\d\d\d?"
    rf"|(?:3\d|4[5-9]|[5-9]\d)\d(?P<b>{_PARTED})\d{{3}}(?P=b)\d\d(?P=b)\d\d"
    rf"|[67](?P<c>{_PARTED})\d\d(?:(?P=c)\d\d){{3}}"
    rf"|(?:9[1236]|[1-8][2-9])(?P<d>{_PARTED})\d{{3}}(?P=d)\d\d(?P=d)\d\d"
    rf"|(?P<threes>(?:4[5-9]|[5-9]\d)\d(?P<e>{_PARTED})\d{{3}}(?P=e)\d{{3}})"
    r"))(?![\d×x*%]|[.,/\-]\d| \d| ?(?:ml|cc|l|mg|g|kg|mm|cm|min|fr|ch|iu|ie|u|hu|h|x)\b)",
    re.IGNORECASE,
)
_SPOKEN = re.compile(
    r"\b(?:(?:oh|zero|nought|one|two|three|four|five|six|seven|eight|nine|double[ \-]\w+|"
    r"triple[ \-]\w+)[ ,\-]{1,2}){4,}",
    re.IGNORECASE,
)
_FAXED = re.compile(r"\b(?:(?:tele)?fax(?:ed)?|tele ?copie)\b[^\d]{0,12}\d(?:[ ().\-/]{0,2}+\d){4,14}", re.IGNORECASE)
_RUN = re.compile(r"(?<![\w.,])\d(?:[ .\-/]?+\d){7,19}+(?!\w|[.,]\d)")
_LONG = re.compile(r"(?<![\d.,+])\d{7,}+(?!\d|[.,][1-9])")
_LETTERED = (
    (re.compile(r"\b[XYZ]?\d{7,8}-?[A-HJ-NP-TV-Z]\b"), spanish, 9, _CHECKED),
    (re.compile(r"\b\d{17}[\dXx]\b"), lambda code: mod_11_2.is_valid(code.upper()), 18, _CHECKED),
    (re.compile(r"\b[A-Z]{2}\d{2}(?: ?[A-Z0-9]{4}){2,7}(?: ?[A-Z0-9]{1,3})?\b"), iban_key, 0, _ACCOUNT),
    (re.compile(r"\b[A-Z]\d{3} ?\d{3} ?\d{3}\b"), german_insured, 10, _INSURED),
)
_SHAPES = re.compile(
    r"\b(?:(?!000|666)\d{3}[- ]\d{2}[- ]\d{4}"  # United States
    r"|[A-Z]{2} ?\d{2} ?\d{2} ?\d{2} ?[A-D]|[a-z]{2}\d{6}[a-d]"  # United Kingdom
    r"|[1-9][A-Z][A-Z0-9]\d-?[A-Z][A-Z0-9]\d-?[A-Z]{2}\d{2}"  # United States, insurance
    r"|\d{2}\.\d{2}\.\d{2}-\d{3}\.\d{2}"  # Belgium
    r"|[A-Z]{6}\d{2}[A-EHLMPRST]\d{2}[A-Z]\d{3}[A-Z]"  # Italy
    r"|[A-Z]\d{6}\([\dA]\)"  # Hong Kong
    r"|[STFGM]\d{7}[A-Z]"  # Singapore
    r"|\d{3}\.\d{3}\.\d{3}-\d{2}"  # Brazil
    r"|756\.\d{4}\.\d{4}\.\d{2})(?![\w])"  # Switzerland
)
_BIRTHDAY_FIRST = re.compile(r"(?<![\w.,])(?:\d{2})?(\d{6})(?:[-+/ ]\d{3,4}|[-+A]\d{3}[0-9A-Z])(?![\w])")
_BY_LENGTH = {
    9: (bsn.is_valid, luhn.is_valid),
    10: (nhs.is_valid,),
    11: (pesel.is_valid, fodselsnummer.is_valid, idnr.is_valid, nn.is_valid, cpf.is_valid),
    12: (aadhaar.is_valid,),
    13: (swiss,),
    15: (french,),
}
_CARD_LENGTHS = range(14, 20)
# Six digits or more beside other words, no round number and no year and month, with or without a letter in front.
_MONTHS = r"(?!(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?!\d))"
_IN_TEXT = re.compile(
    r"(?<![\w\-])[A-Z]\d{3} \d{3} \d{3}(?!\w)"
    rf"|(?<![\w.,/+:\-])(?:(?:[A-Z]{{1,3}}-?|#)?{_MONTHS}(?!000)\d{{6,10}}|"
    rf"[A-Z]{{1,3}}-?[1-9]\d{{4}})(?<!000)(?:[-/]\d{{1,2}})?"
    r"(?![\w,.:/]\w|-\w| ?(?:ml|u|iu|units?|ie|mcg|g|mg|cc)\b|\w)"
)
_IN_NAME = re.compile(rf"(?<![A-Za-z])[A-Za-z]{{1,3}}-?{_MONTHS}\d{{6,}}(?!\d)")
_ROUND = 5
_CLUSTER = re.compile(r"\d(?:[ .\-/()+]{0,3}+\d){3}")


def clues_in_numbers(text: str) -> Iterator[Clue]:
    """The clues in the numbers of a folded text from which dates have been taken out."""
    if _SHAPES.search(text):
        yield _NATIONAL
    if _SPOKEN.search(text):
        yield _TELEPHONE
    if _CLUSTER.search(text):
        found = tuple(_in_clusters(text))
        yield from found or ((_CODE,) if " " in text and _IN_TEXT.search(text) else ())


def _in_clusters(text: str) -> Iterator[Clue]:
    if _FAXED.search(text):
        yield _FAX
    elif _CALLED.search(text) or any(each.search(text) for each in (_INTERNATIONAL, _TRUNK, _NORTH_AMERICAN)):
        yield _TELEPHONE
    elif any(_is_mobile(found) for found in _GROUPED.finditer(text)):
        yield _MOBILE
    if any(is_birthday(found[1]) for found in _BIRTHDAY_FIRST.finditer(text)):
        yield _NATIONAL
    yield from _lettered(text)
    yield from _with_check_digits(text)
    if _LONG.search(text):
        yield LONG_NUMBER


def _is_mobile(found: re.Match[str]) -> bool:
    """Groups of three may be amounts, which are round."""
    threes = re.findall(r"\d{3}", found["threes"] or "")
    return not threes or any(int(each) % _ROUND for each in threes)


def clues_in_code_of_a_file(stem: str) -> Iterator[Clue]:
    """The clue of a letter or three with six digits or more in the name of a file or sheet, where no code belongs."""
    if _IN_NAME.search(stem):
        yield _NAMED


def _lettered(text: str) -> Iterator[Clue]:
    for pattern, sound, length, clue in _LETTERED:
        codes = (found[0].replace(" ", "").replace("-", "") for found in pattern.finditer(text))
        if any(sound(code) for code in codes if not length or len(code) == length):
            yield clue


def _with_check_digits(text: str) -> Iterator[Clue]:
    for found in _RUN.finditer(text):
        groups = re.split(r"\D", found[0])
        digits = "".join(groups)
        if _is_a_list(groups) or len(set(digits)) < 3:
            continue
        if any(sound(digits) for sound in _BY_LENGTH.get(len(digits), ())):
            yield _CHECKED
        elif len(digits) in _CARD_LENGTHS and luhn.is_valid(digits):
            yield _ACCOUNT


def _is_a_list(groups: list[str]) -> bool:
    """Whether groups of digits read as several small numbers ("200 300 400") rather than one in groups."""
    return (len(groups) > 1 and min(map(len, groups)) < 2) or len(groups) > 5
