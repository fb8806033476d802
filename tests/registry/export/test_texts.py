"""Columns of texts kept once each."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.export.texts import Texts

WORDS = st.lists(st.sampled_from(["", "a", "b", "c"]), max_size=8)


def test_texts_listed_twice_are_one():
    texts = Texts.chosen(["a", "b", "a", ""], np.array([0, 2, 1, 3]))
    assert texts.plain().tolist() == ["a", "a", "b", ""]
    assert texts.different.tolist() == ["", "a", "b"]
    assert texts.filled.tolist() == [True, True, True, False]
    assert texts.among({"b", "z"}).tolist() == [False, False, True, False]


def test_a_column_without_rows_can_be_filled_taken_and_joined():
    none = Texts.everywhere("a", 0)
    assert len(none) == 0 and none.take(np.array([], dtype=np.int64)).plain().tolist() == []
    assert Texts.joined([none, Texts.of(["b"])]).plain().tolist() == ["b"]
    assert Texts.of(["b", "c"]).or_blank(np.array([1, -1])).plain().tolist() == ["c", ""]


@given(WORDS, WORDS, st.integers(min_value=0, max_value=2**16))
@settings(deadline=None, derandomize=True, max_examples=200)
def test_columns_behave_like_lists(first, second, seed):
    one, two = Texts.of(first), Texts.of(second)
    assert Texts.joined([one, two]).plain().tolist() == [*first, *second]
    rows = np.random.default_rng(seed).permutation(len(first))[: len(second)]
    wanted = list(first)
    for row, text in zip(rows, second, strict=False):
        wanted[row] = text
    assert one.put(rows, two.take(np.arange(len(rows)))).plain().tolist() == wanted
    if len(first) == len(second):
        both = [bool(a and b and a != b) for a, b in zip(first, second, strict=True)]
        assert one.differs(two).tolist() == both
    assert len(set(one.different)) == len(one.different) and one.different[0] == ""
