"""What a cell says before its kind is known."""

from __future__ import annotations

import pytest

from necrostats.registry.cell_findings import clean, is_date_with_year, is_unknown, looks_like_a_date, no_value


@pytest.mark.parametrize(
    "text", ["", "-", "—", "n/a", "NA", "NULL", "NaN", ".", "?", "unk", "not recorded", "Not Recorded", "unknown"]
)
def test_what_says_nothing_is_unknown(text):
    assert is_unknown(text)


@pytest.mark.parametrize("text", ["0", "no", "none", "P1", "x"])
def test_what_says_something_is_not_unknown(text):
    assert not is_unknown(text)


@pytest.mark.parametrize(
    "text",
    [
        "31/02/2026",
        "2026-02-31",
        "1.3.26",
        "01/02/03",
        "12/03",
        "03/2024",
        "2024-03",
        "Mar-24",
        "12 March 2024",
        "early April",
        "2024-03-12 10:30:00",
        "2024-03-12T10:30",
        "12-Mar-2024",
        "0000-00-00 10:30:00",
    ],
)
def test_calendar_dates_are_recognised_even_impossible_ones(text):
    assert looks_like_a_date(text)


@pytest.mark.parametrize("text", ["12", "-40", "12.5", "200-300", "3 x 150", "C01-1", "marked", "", "1e5", "100 + 150"])
def test_other_things_are_no_dates(text):
    assert not looks_like_a_date(text)


def test_an_id_of_site_and_number_is_no_date_but_a_full_date_is():
    assert not is_date_with_year("01-02-003")
    assert is_date_with_year("12-03-2024")


@pytest.mark.parametrize("text", ["#N/A", "#DIV/0!", "as before", "idem", '"'])
def test_a_formula_error_and_a_pointer_elsewhere_hold_no_value(text):
    assert no_value(text).severity == "stops"


def test_a_plain_word_may_hold_a_value():
    assert no_value("snare") is None
    assert no_value("12") is None


def test_blanks_and_invisible_marks_at_the_ends_go():
    assert clean("\ufeff P1\u200b\xa0") == "P1"
    assert clean("e\u0301") == "\xe9"


def test_a_long_text_costs_no_time():
    assert not looks_like_a_date("1" * 100_000 + "x")
