import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.export.names import hint, letters_of, nearest
from necrostats.registry.text import folded


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
