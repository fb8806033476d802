from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.privacy import dates
from necrostats.registry.privacy.texts import _HARMLESS, clues_in, exceptions, is_harmless, stands_for_its_texts
from necrostats.registry.shapes import shape_of, shaped

# Every word that a rule about dates, births, ages or announced numbers asks for, and others of each length.
LETTERS = """
dob born geb nee ne nato nata nacido fodt age aged alter tel phone mob fon ring call text ext fax telefax mrn hosp hn
emr nhs chi acc ipp sn ser lot charge batch ref udi cat unit chart lab pass pat patient pt case pid visit id policy
member account acct konto iban gmc npi dea passport ssn cpr bsn ahv dni nie vin http www y yo years Dr Mr Anna
Brandelow Brown Hospital London St Street D F I E CH A B L NL DK S N W X Z AB GB DE QQ CE JB abcdef necrosectomy
dect blp tfno wristband sample specimen trial subject donor token urn upi memb nhi kfz zip plz ward bed bay room
yob f w m died rip ct op kw R WX notes card sharma siobhan Brandelow's
Abcdefghijkl ABCDEFGHIJKL May MAY JAN Q t T a d c IV
"""
WORDS = sorted({word for word in dates._WORDS_OF_DATES if len(word) <= 12} | {*LETTERS.split()})
PARTS = ("", "1", "9", "00", "01", "12", "20", "99", "110", "000", "756", "198", "112")
ENDS = (
    "00000",
    "01234",
    "12345",
    "20240",
    "99999",
    "11111",
    "000000",
    "120356",
    "240312",
    "123456",
    "019750",
    "311299",
    "0000000",
    "0123456",
    "1234567",
    "4081234",
    "2024031",
    "9990001",
    "00000000",
    "20240312",
    "20241312",
    "19000101",
    "18991231",
    "12032024",
    "01234567",
    "07700900",
    "99999999",
    "20240232",
    "20240300",
    "21000101",
)


@settings(deadline=None, derandomize=True, max_examples=500)
@given(text=st.one_of(st.from_regex(_HARMLESS), st.text("019QaIVx.,-+ \n", max_size=9)), digits=st.randoms())
def test_a_harmless_shape_is_the_shape_of_harmless_texts_only(text: str, digits) -> None:
    others = "".join(digits.choice("0123456789") if each in "0123456789" else each for each in text)
    if is_harmless(shape_of(text)):
        assert is_harmless(text)
        assert is_harmless(others)


def test_only_a_quarter_hangs_on_its_digits() -> None:
    assert is_harmless("2026Q3")
    assert not is_harmless(shape_of("2026Q3"))
    assert not stands_for_its_texts(shape_of("2026Q3"))


def _spelt(shape: str, rng: np.random.Generator) -> str:
    return "".join(str(rng.integers(10)) if each == "1" else each for each in shape)


@pytest.mark.parametrize("joint", ["", "-", "_"])
@pytest.mark.parametrize("dates_belong", [False, True])
def test_a_shape_that_stands_for_its_texts_has_their_clues(joint: str, dates_belong: bool) -> None:
    rng = np.random.default_rng(3)
    texts = [f"{word}{joint}{end}" for word in ("", *WORDS) for end in ENDS[:: 1 + len(word) % 3]]
    texts += [
        f"{word}{joint}{part}{between}{end}"
        for word in WORDS[::7]
        for part in PARTS[1:]
        for between in "-_"
        for end in ENDS[::4]
    ]
    texts += [_spelt(shape_of(text), rng) for text in texts]
    stood = 0
    for group in shaped(list(dict.fromkeys(texts))).groups():
        if stands_for_its_texts(group.shape):
            wanted = clues_in(group.shape, dates_belong=dates_belong)
            for text in group.texts[~exceptions(group)]:
                stood += 1
                assert clues_in(text, dates_belong=dates_belong) == wanted, text
    assert stood > 4_000


def test_shapes_in_which_a_rule_hangs_on_digits_stand_for_nothing() -> None:
    for text in (
        "March-2012",
        "Jan-2012x",
        "12/03/2024",
        "123456789",
        "S123456789",
        "12345678Z",
        "AB123456C",
        "S1234567-",
        "120356-1234",
        "P120356-123",
        "1234-12345",
        "192.168.100.200",
        "age 95678",
        "P-001-234567",
        "Ä1234567",
        "1234567\n",
        " S123456",
        "S 1234567",
        "12345.123456",
    ):
        assert not stands_for_its_texts(shape_of(text)), text


def test_the_exceptions_are_the_days_of_a_year_written_in_one() -> None:
    rng = np.random.default_rng(8)
    texts = [f"S{number}" for number in rng.integers(18_000_000, 22_000_000, 4_000)]
    edges = [(year, month, day) for year in (1899, 1900, 2099, 2100) for month in range(14) for day in range(33)]
    texts += [f"S{year}{month:02d}{day:02d}" for year, month, day in edges]
    (group,) = shaped(texts).groups()
    told = exceptions(group)
    assert told.tolist() == [dates.has_full_date(text) for text in texts]
    assert 300 < told.sum() < len(texts)
