from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry import shapes
from necrostats.registry.shapes import Shaped, shape_of, shaped


def test_the_shape_of_a_text_has_ones_for_its_digits() -> None:
    assert shape_of("S-0290 ٣²x") == "S-1111 ٣²x"


@pytest.mark.parametrize("block", [1, 3, 1 << 16])
@settings(deadline=None, derandomize=True, max_examples=150)
@given(texts=st.lists(st.one_of(st.text(max_size=6), st.text("S1290\nÄ\ud800", max_size=4)), max_size=12))
def test_each_text_has_its_shape_and_stands_once_in_the_group_of_that_shape(block: int, texts: list[str]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shapes, "_BLOCK", block)
        found = shaped(texts)
        groups = list(found.groups())
    assert [found.shapes[each] for each in found.which] == [shape_of(text) for text in texts]
    assert len(set(found.shapes)) == len(found.shapes)
    assert sorted(place for group in groups for place in group.places) == list(range(len(texts)))
    for group in groups:
        assert list(group.places) == sorted(group.places)
        assert [shape_of(text) for text in group.texts] == [group.shape] * len(group)


@pytest.mark.parametrize("length", [1, 5, 9, 10, 18])
@pytest.mark.parametrize("block", [2, 1 << 16])
def test_the_digits_of_a_group_make_whole_numbers(length: int, block: int, monkeypatch) -> None:
    monkeypatch.setattr(shapes, "_BLOCK", block)
    rng = np.random.default_rng(length)
    digits = ["".join(map(str, rng.integers(0, 10, length))) for _ in range(5)] + ["9" * length, "0" * length]
    (group,) = shaped([f"S{each[:2]}-{each[2:]}x" for each in digits]).groups()
    assert group.digits == length
    assert group.numbers().tolist() == [int(each) for each in digits]


def test_shapes_left_out_leave_the_places_of_the_others_as_they_are() -> None:
    whole = shaped(["", "S1", "x", "S2", ""])
    part = whole.without([shape == "" for shape in whole.shapes])
    assert isinstance(part, Shaped)
    assert len(part) == 3
    assert {group.shape: group.places.tolist() for group in part.groups()} == {"S1": [1, 3], "x": [2]}
    assert shaped(part) is part


def test_no_text_has_no_shape() -> None:
    assert len(shaped([])) == 0
    assert list(shaped([]).groups()) == []
