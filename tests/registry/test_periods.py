"""Quarters and private periods."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.errors import ChoiceError
from necrostats.registry import periods

QUARTERS = st.builds("{}Q{}".format, st.integers(1990, 2090), st.integers(1, 4))


@pytest.mark.parametrize("label", ["2026Q3", "P07", "P123"])
def test_labels_are_recognised(label):
    assert periods.is_period(label)


@pytest.mark.parametrize("label", ["2026Q5", "2026", "Q3", "P7", "p07", "2026-Q3", "", None, 2026, "P" + "1" * 5_000])
def test_other_things_are_no_label(label):
    assert not periods.is_period(label)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(first=QUARTERS, second=QUARTERS)
def test_the_order_of_quarters_is_that_of_their_labels(first, second):
    assert (periods.ordinal(first) < periods.ordinal(second)) == (first < second)


def test_a_span_crosses_the_year_and_holds_both_ends():
    assert periods.span("2025Q3", "2026Q2") == ("2025Q3", "2025Q4", "2026Q1", "2026Q2")
    assert periods.span("P09", "P11") == ("P09", "P10", "P11")


def test_what_was_meant_by_one_period_or_a_range():
    assert periods.parse(" 2026Q3 ") == ("2026Q3",)
    assert periods.parse("2026Q2 .. 2026Q3") == ("2026Q2", "2026Q3")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2026Q3..2026Q1", "backwards"),
        ("2026Q1..P03", "two kinds"),
        ("summer", "not a period"),
        ("2026Q1..", "not a period"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_the_value(text, said):
    with pytest.raises(ChoiceError, match=said):
        periods.parse(text)


@pytest.mark.parametrize(
    ("misspelt", "right"),
    [
        ("2026-Q3", "2026Q3"),
        ("2026 q3", "2026Q3"),
        ("2026q3", "2026Q3"),
        ("Q3/2026", "2026Q3"),
        ("T3 2026", "2026Q3"),
        ("p7", "P07"),
        ("P7", "P07"),
        ("2026", "2026Q1..2026Q4"),
    ],
)
def test_a_misspelt_period_is_answered_with_the_right_spelling(misspelt, right):
    with pytest.raises(ChoiceError) as refused:
        periods.parse(misspelt)
    assert f"Write {right}." in str(refused.value)
    periods.parse(right)


@pytest.mark.parametrize("unclear", ["Q3", "2026Q5", "summer", "20263"])
def test_a_period_that_could_be_several_gets_the_form_only(unclear):
    with pytest.raises(ChoiceError, match="Write a quarter as 2026Q3, with its year, or a private period as P07"):
        periods.parse(unclear)
