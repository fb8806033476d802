""""""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.privacy import KnownIds, Sheet, find_identifiers
from necrostats.registry.privacy.ids import are_study_codes, clues_in_ids


def test_running_numbers_are_no_clue():
    assert clues_in_ids([f"P{number:04d}" for number in range(1, 200)]) == ()


@pytest.mark.parametrize("digits", [4_301, 9_000, 32_000])
@pytest.mark.parametrize("before", ["", "P"])
@pytest.mark.slow
def test_a_number_of_thousands_of_digits_is_refused_and_raises_nothing(digits, before):
    ids = [before + "9" * digits, before + "1" * digits]
    assert [clue.kind for clue in clues_in_ids(ids)] == ["record_number"]
    assert not are_study_codes(ids)
    for heading in ("patient_id", "Study no", "date", "remarks"):
        sheet = Sheet(file="a.csv", name="", header=[heading], columns={heading: [*ids, "7"]})
        assert find_identifiers([sheet]), heading


def test_one_very_long_number_among_many_running_ones_does_not_hide():
    ids = [*(f"P{number:04d}" for number in range(1, 50)), "P" + "8" * 5_000]
    assert find_identifiers([Sheet(file="a.csv", name="", header=["patient_id"], columns={"patient_id": ids})])


IDS = st.one_of(
    st.text("SP01; \n", max_size=4),
    st.sampled_from(("S1", "S01", "S0000001", "P0000001", "1S", "S" + "1" * 19, "S" + "1" * 18, "Ä1", "Ä2", "٣", "S٣")),
)


@settings(deadline=None, derandomize=True, max_examples=500)
@given(held=st.lists(IDS, max_size=8), asked=st.lists(IDS | st.lists(IDS, max_size=3).map("; ".join), max_size=8))
@pytest.mark.slow
def test_an_id_is_known_if_each_part_of_it_is_one_of_those_held(held: list[str], asked: list[str]) -> None:
    trimmed = {text.strip() for text in held}
    wanted = [all(part.strip() in trimmed for part in text.split(";")) for text in asked]
    assert KnownIds(held).hold(asked).tolist() == wanted


def test_zeros_in_front_make_another_id() -> None:
    assert KnownIds(["S01", "S2"]).hold(["S1", "S01", "S02", "S2", "01", "S01 ;S2", "S01; S3"]).tolist() == [
        False,
        True,
        False,
        True,
        False,
        True,
        False,
    ]


def test_long_numbers_that_are_the_same_in_64_bits_are_two_ids() -> None:
    ids = [f"S{number:020d}" for number in (1, 1 + 2**64)]
    assert KnownIds(ids[:1]).hold(ids).tolist() == [True, False]
