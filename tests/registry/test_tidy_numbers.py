"""One plain number a cell, never a wrong one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.codebook import PATIENTS, SCANS, SESSIONS
from necrostats.registry.tidy_numbers import read_number
from necrostats.registry.verdicts import Verdict

MM = SCANS.column("long_mm")
PASSES = SESSIONS.column("passes")
DAY = SESSIONS.column("day")
AGE = PATIENTS.column("age_years")
PEROXIDE = SESSIONS.column("peroxide_percent")


def rule(text, column=MM, comma=False):
    found = read_number(text, column, comma)
    return found.rule if isinstance(found, Verdict) else found


@pytest.mark.parametrize(
    ("text", "value"), [("12", 12), ("12.0", 12), ("0", 0), (".5", 0.5), ("1.234", 1.234), ("1e2", 100)]
)
def test_plain_numbers_are_read(text, value):
    assert read_number(text, MM, False) == value


@pytest.mark.parametrize("text", ["200-300", "200 to 300", "200–300", ">50", "≥50", "at least 50", "up to 50", "50+"])
def test_a_range_or_an_open_end_is_not_one_number(text):
    assert rule(text) == "RANGE"


@pytest.mark.parametrize(
    "text", ["~250", "250 ml", "2 x 150", "100 + 150", "1,200", "1,5", "inf", "0x10", "1_000", "١٢"]
)
def test_what_is_not_a_plain_number_is_never_guessed(text):
    assert rule(text) == "NOT_A_NUMBER"


def test_a_decimal_comma_is_read_only_in_a_file_separated_by_semicolons_and_said():
    found = read_number("12,5", MM, True)
    assert found.value == 12.5 and found.rule == "DECIMAL_COMMA" and found.severity == "notes"
    assert rule("12,5", comma=False) == "NOT_A_NUMBER"


@pytest.mark.parametrize("text", ["1,200", "1.200", "12.345"])
def test_a_thousand_or_a_decimal_is_not_guessed_in_a_file_separated_by_semicolons(text):
    assert rule(text, comma=True) == "NOT_A_NUMBER"


def test_a_zero_before_the_comma_makes_a_decimal():
    assert read_number("0,125", MM, True).value == 0.125


def test_a_decimal_comma_off_the_scale_still_stops():
    assert rule("6,5", PEROXIDE, comma=True) == "OFF_SCALE"
    asked = read_number("3,5", PEROXIDE, True)
    assert asked.rule == "UNLIKELY" and asked.value == 3.5


def test_a_whole_number_is_not_rounded():
    assert rule("12.5", PASSES) == "NOT_WHOLE"
    assert read_number("12.0", PASSES, False) == 12


@pytest.mark.parametrize(
    ("text", "expected"), [("-1", "OFF_SCALE"), ("401", "UNLIKELY"), ("400", 400.0), ("1e20", "OFF_SCALE")]
)
def test_limits_stop_and_likely_limits_ask(text, expected):
    assert rule(text) == expected


def test_an_unlikely_value_is_kept_as_it_stands():
    assert read_number("1200", MM, False).value == 1200


@pytest.mark.parametrize("text", ["31/02/2026", "45363", "20240312", "Mar-24", "2024-03-12 00:00:00", "03.2024"])
def test_a_calendar_date_or_a_serial_number_in_a_day_is_withheld(text):
    found = read_number(text, DAY, False)
    assert found.rule == "CALENDAR_DATE" and found.withheld and text not in found.problem


def test_a_date_in_any_other_number_is_withheld_too():
    assert read_number("2024-03-12", MM, False).withheld


@pytest.mark.parametrize("text", ["91", "104", "119"])
def test_an_age_over_90_becomes_90_and_is_never_shown(text):
    found = read_number(text, AGE, False)
    assert found.value == 90 and found.withheld and found.severity == "notes" and text not in found.problem


def test_90_itself_needs_no_word():
    assert read_number("90", AGE, False) == 90


@pytest.mark.parametrize("text", ["130", "1931", "91-93", "about 95", "95.5"])
def test_an_age_that_cannot_be_read_is_withheld_if_it_may_be_over_89(text):
    found = read_number(text, AGE, False)
    assert found.severity == "stops" and found.withheld and found.value is None


def test_a_minor_is_asked_about():
    assert rule("17", AGE) == "UNLIKELY"
    assert rule("17.5", AGE) == "NOT_WHOLE"


@settings(deadline=None, derandomize=True, max_examples=300)
@given(text=st.text(max_size=12), comma=st.booleans(), column=st.sampled_from([MM, PASSES, DAY, AGE, PEROXIDE]))
def test_any_text_is_a_number_or_unknown_or_a_verdict(text, comma, column):
    found = read_number(text.strip(), column, comma)
    assert found is None or isinstance(found, float | Verdict)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(value=st.floats(0, 400, allow_subnormal=False).map(lambda value: round(value, 6)))
def test_what_python_writes_is_read_back_in_a_file_separated_by_commas(value):
    assert read_number(f"{value:.6f}", MM, False) == value
