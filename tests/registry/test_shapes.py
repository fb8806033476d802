"""Texts in which one digit is as good as another."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.shapes import shape_of, shapes_of


def test_a_shape_keeps_letters_and_signs_and_forgets_which_digits_stand_there():
    assert shape_of("P-0204 b9") == "P-1111 b1"
    assert shapes_of(["S01", "S99", "s01", "S001", ""]) == {"S11", "s11", "S111", ""}


def test_no_text_has_no_shape():
    assert shapes_of([]) == set()


@given(st.lists(st.text(alphabet="0179aZ-\n ٣", max_size=6), max_size=30))
@settings(deadline=None, derandomize=True, max_examples=200)
def test_the_shapes_of_many_texts_are_those_of_each(texts):
    assert shapes_of(texts) == {shape_of(text) for text in texts}
