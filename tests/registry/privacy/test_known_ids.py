from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.privacy import KnownIds

IDS = st.one_of(
    st.text("SP01; \n", max_size=4),
    st.sampled_from(("S1", "S01", "S0000001", "P0000001", "1S", "S" + "1" * 19, "S" + "1" * 18, "Ä1", "Ä2", "٣", "S٣")),
)


@settings(deadline=None, derandomize=True, max_examples=500)
@given(held=st.lists(IDS, max_size=8), asked=st.lists(IDS | st.lists(IDS, max_size=3).map("; ".join), max_size=8))
def test_an_id_is_known_if_each_part_of_it_is_one_of_those_held(held: list[str], asked: list[str]) -> None:
    trimmed = {text.strip() for text in held}
    wanted = [all(part.strip() in trimmed for part in text.split(";")) for text in asked]
    assert KnownIds(held).hold(asked).tolist() == wanted


def test_zeros_in_front_make_another_id() -> None:
    assert KnownIds(["S01", "S2"]).hold(["S1", "S01", "S02", "S2", "01", "S01 ;S2", "S01; S3"]).tolist() == [
        False, True, False, True, False, True, False,
    ]  # fmt: skip


def test_long_numbers_that_are_the_same_in_64_bits_are_two_ids() -> None:
    ids = [f"S{number:020d}" for number in (1, 1 + 2**64)]
    assert KnownIds(ids[:1]).hold(ids).tolist() == [True, False]
