"""Lines gathered into columns, each text kept once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import SourceError
from necrostats.registry import source_table
from necrostats.registry.source_table import BLOCK, Place, Shaped, collect, shape_of, shaped, smallest

PLACE = Place(table="reviews", file="reviews.csv")


def test_a_short_row_is_filled_up_with_blanks_and_a_long_one_is_marked():
    raw = collect(PLACE, iter([["a", "b"], ["1"], ["1", "2", "3"], ["1", "2", " "]]))
    assert raw.columns["b"].at(np.arange(3)).tolist() == ["", "2", "2"]
    assert raw.long.tolist() == [1]


def test_a_column_without_a_heading_is_told_only_if_it_holds_something():
    raw = collect(PLACE, iter([["a", "", ""], ["1", "x", ""]]))
    assert raw.unnamed == (2,)
    assert list(raw.columns) == ["a"]


def test_a_cell_that_swallowed_rows_is_marked():
    raw = collect(PLACE, iter([["a", "b"], ["1", "fine\ntwo lines"], ["2", "3\n4,5\n6,7"]]), ",")
    assert raw.swallowed.tolist() == [1]


def test_no_line_at_all_is_refused():
    with pytest.raises(SourceError, match="row 1 is blank"):
        collect(PLACE, iter([]))


def test_more_rows_than_a_block_keep_their_numbers():
    lines = [["a"], *([[str(number)] for number in range(BLOCK)]), [""], ["last"]]
    raw = collect(PLACE, iter(lines))
    assert raw.rows[-1] == BLOCK + 3
    assert len(raw) == BLOCK + 1
    assert raw.columns["a"].at(np.array([BLOCK])).tolist() == ["last"]


@settings(deadline=None, derandomize=True, max_examples=60)
@given(cells=st.lists(st.tuples(st.text("ab ", max_size=2), st.text("ab ", max_size=2)), max_size=30))
def test_every_cell_of_every_row_that_is_not_blank_comes_back_as_written(cells):
    raw = collect(PLACE, iter([["x", "y"], *map(list, cells)]))
    kept = [(number, line) for number, line in enumerate(cells, start=2) if "".join(line).strip()]
    assert raw.rows.tolist() == [number for number, _ in kept]
    for place, name in enumerate(("x", "y")):
        assert raw.columns[name].at(np.arange(len(kept))).tolist() == [line[place] for _, line in kept]


@pytest.mark.parametrize(("most", "dtype"), [(0, np.int8), (127, np.int8), (128, np.int16), (70_000, np.int32)])
def test_whole_numbers_take_as_few_bytes_as_they_can(most, dtype):
    small = smallest(np.array([-1, most]))
    assert small.dtype == dtype
    assert small.tolist() == [-1, most]


def test_the_shape_of_a_text_has_ones_for_its_digits() -> None:
    assert shape_of("S-0290 ٣²x") == "S-1111 ٣²x"


@pytest.mark.parametrize("block", [1, 3, 1 << 16])
@settings(deadline=None, derandomize=True, max_examples=150)
@given(texts=st.lists(st.one_of(st.text(max_size=6), st.text("S1290\nÄ\ud800", max_size=4)), max_size=12))
def test_each_text_has_its_shape_and_stands_once_in_the_group_of_that_shape(block: int, texts: list[str]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(source_table, "_BLOCK", block)
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
    monkeypatch.setattr(source_table, "_BLOCK", block)
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
