"""Cells as written.

First rows of groups.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.export.cells import Gathering, RawCell, RawColumn, first_rows, letters_of
from necrostats.registry.text import folded, hint, nearest


def test_a_cell_shows_what_it_holds_to_nobody_by_accident():
    assert "secret" not in repr(RawCell(text="secret")) + str([RawCell(text="secret")])
    assert RawCell(text="5", value=5.0).typed == 5.0 and RawCell(text="5").typed == "5"


def test_a_formula_without_a_result_counts_as_filled_and_blanks_do_not():
    column = RawColumn(number=27, cells=(RawCell(""), RawCell(" "), RawCell("", no_result=True)), which=np.arange(3))
    assert column.filled().tolist() == [False, False, True]
    assert column.letters == "AA" and column.texts().tolist() == ["", " ", ""]


@pytest.mark.parametrize("lines", [[], [[]], [["", " "]], [[], [RawCell("")]]])
def test_lines_without_anything_give_no_rows(lines):
    gathering = Gathering()
    gathering.add(lines)
    assert gathering.rows().tolist() == []


def test_a_column_that_begins_late_is_blank_before_and_lines_keep_their_numbers():
    gathering = Gathering()
    gathering.add([["a"], [""]])
    gathering.add([["b", "c"]])
    first, second = gathering.columns(hidden=[2])
    assert gathering.rows().tolist() == [1, 3]
    assert first.texts().tolist() == ["a", "b"] and second.texts().tolist() == ["", "c"]
    assert second.hidden and not first.hidden


def test_the_first_row_of_each_group_and_none_where_there_is_none():
    assert first_rows(np.array([2, 0, 2, 0]), 4).tolist() == [1, -1, 0, -1]
    assert first_rows(np.array([], dtype=np.int64), 2).tolist() == [-1, -1]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Étiologie", "etiologie"),
        ("DEN1\ndate", "den1  DATE"),
        (" Straße ", "strasse"),
        ("ﬁeld", "field"),
        ("a\u200bb", "ab"),
        ("５", "5"),
    ],
)
def test_names_that_people_take_for_the_same_are_the_same(one, other):
    assert folded(one) == folded(other)


def test_the_nearest_name_is_given_as_it_is_written():
    assert nearest("etiologi", ["Age", "Étiologie"]) == "Étiologie"
    assert hint("zzz", ["Age"]) == ""
    assert hint("agee", ["Age"]) == '; the nearest is "Age"'


@pytest.mark.parametrize(("number", "letters"), [(1, "A"), (26, "Z"), (27, "AA"), (703, "AAA"), (16384, "XFD")])
def test_columns_have_the_letters_of_a_spreadsheet(number, letters):
    assert letters_of(number) == letters


@given(st.text(max_size=30))
@settings(deadline=None, derandomize=True, max_examples=200)
def test_folding_twice_changes_nothing_more(text):
    assert folded(folded(text)) == folded(text)
