"""Tables being made from an export."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.export.table_drafts import NOWHERE, Mark, Origin, Texts, joined, no_rows, spread


def origin(*columns):
    rows = len(columns)
    return Origin(
        column=np.array(columns, dtype=np.int32),
        at=np.arange(rows, dtype=np.int32),
        rule=np.array(["code"] * rows, dtype=object),
        withheld=np.zeros(rows, dtype=np.int8),
    )


def sessions(*persons):
    each = np.array(persons)
    made = no_rows("sessions")
    return replace(
        made, person=each, maker=each * 0, number=each * 0, sheet=each * 0, at=np.arange(len(each)), parent=each * 0 - 1
    )


def test_an_origin_can_be_kept_for_some_rows_and_put_back():
    some = origin(3, 4, 5).only(np.array([True, False, True]))
    assert some.column.tolist() == [3, NOWHERE, 5]
    assert some.put(np.array([1]), origin(9)).column.tolist() == [3, 9, 5]
    every = origin(1)
    assert every.only(np.array([True])) is every


def test_texts_are_written_taken_and_joined_with_the_marks_on_their_rows():
    made = sessions(0, 1, 1).with_text("texture", np.array([0, 2]), Texts.of(["soft", "tough"]))
    mark = Mark(rule="X", at=np.array([2]), column="texture", severity="asks", problem="is odd", origin=origin(0))
    made = made.with_marks(mark)
    part = made.take(np.array([2, 0]))
    assert part.text("texture").plain().tolist() == ["tough", "soft"] and part.marks[0].at.tolist() == [0]
    both = joined([part, sessions(7), made])
    assert both.text("texture").plain().tolist() == ["tough", "soft", "", "soft", "", "tough"]
    assert [each.at.tolist() for each in both.marks] == [[0], [5]] and both.person.tolist() == [1, 0, 7, 0, 1, 1]


def test_a_mark_goes_with_its_row():
    made = sessions(0, 1).with_marks(
        Mark(rule="X", at=np.array([1]), column="day", severity="stops", problem="is odd", origin=origin(0))
    )
    assert [len(each.at) for each in made.take(np.array([0])).marks] == [0]
    assert made.text("texture").plain().tolist() == ["", ""]


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


def test_each_row_stands_as_often_as_it_counts_and_knows_its_place():
    lines = spread(np.array([2, 0, 3]))
    assert lines.row.tolist() == [0, 0, 2, 2, 2]
    assert lines.rank.tolist() == [0, 1, 0, 1, 2]


def test_nothing_becomes_nothing():
    assert spread(np.array([0, 0])).row.size == 0
