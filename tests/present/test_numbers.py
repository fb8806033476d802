from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.results import NAN, rates, summary
from necrostats.present import numbers
from necrostats.present.numbers import too_few_for_a_rate, too_few_to_summarise


@pytest.mark.parametrize(
    ("share", "n", "written"),
    [
        (8 / 98, 98, "8 %"),
        (0.125, 8, "13 %"),
        (0.145, 40, "15 %"),
        (14 / 880, 880, "1.6 %"),
        (0.62, 142, "62 %"),
        (0.0, 30, "0 %"),
        (1.0, 30, "100 %"),
        (0.997, 50, "> 99 %"),
        (0.002, 50, "< 1 %"),
        (0.0002, 5000, "< 0.1 %"),
        (NAN, 50, ""),
    ],
)
def test_a_percentage_is_whole_below_100_and_has_a_decimal_below_10_percent_from_100(share, n, written):
    assert numbers.percent(share, n) == written


@given(share=st.floats(0, 1), n=st.integers(1, 5000))
@settings(deadline=None, derandomize=True, max_examples=200)
def test_nothing_but_none_is_written_as_0_percent_and_nothing_but_all_as_100_percent(share, n):
    text = numbers.percent(share, n)
    assert (text == "0 %") == (share == 0)
    assert (text == "100 %") == (share == 1)


@pytest.mark.parametrize(
    ("share", "low", "high", "n", "written"),
    [
        (0.62, 0.54, 0.69, 142, "54–69"),
        (0.0, 0.0, 0.1157, 30, "0–11.6"),
        (14 / 880, 0.0087, 0.0265, 880, "0.9–2.7"),
        (0.5, NAN, NAN, 10, "no interval"),
    ],
)
def test_the_limits_of_a_share_take_its_decimals_and_none_of_n_has_one_decimal(share, low, high, n, written):
    assert numbers.percent_range(share, low, high, n) == written


@pytest.mark.parametrize(
    ("p", "written"),
    [
        (0.0230, "p = 0.023"),
        (0.2, "p = 0.20"),
        (0.0996, "p = 0.10"),
        (0.0118, "p = 0.012"),
        (0.0010, "p = 0.0010"),
        (0.00099, "p < 0.001"),
        (0.0, "p < 0.001"),
        (0.99, "p = 0.99"),
        (0.991, "p > 0.99"),
        (1.0, "p > 0.99"),
        (NAN, ""),
    ],
)
def test_p_has_two_significant_digits_and_is_never_zero(p, written):
    assert numbers.p_value(p) == written


@pytest.mark.parametrize(
    ("value", "written"), [(184.2, "184"), (42.34, "42.3"), (1.42, "1.42"), (0.0563, "0.056"), (0, "0"), (NAN, "")]
)
def test_a_mean_or_ratio_has_about_three_digits(value, written):
    assert numbers.amount(value) == written


def test_a_range_with_a_negative_end_is_joined_by_a_word():
    assert numbers.joined(numbers.rounded(-9.1, 1), "2.7") == "−9.1 to 2.7"
    assert numbers.joined("54", "69") == "54–69"


def test_a_median_beyond_the_data_is_not_reached_and_never_infinity():
    assert numbers.reached(NAN) == numbers.reached(math.inf) == "not reached"
    assert numbers.reached(62.0) == "62"


def test_a_limit_far_beyond_its_estimate_is_not_written_with_needless_digits():
    assert numbers.amount_range(1.2, 0.4, 900.0) == "0.40–900"
    assert numbers.amount_range(3.0, 0.5, math.inf) == "0.50 to no limit"


def test_a_two_sided_level_names_its_one_sided_tail():
    assert numbers.one_sided(0.95) == "97.5 %"
    assert numbers.interval_name(0.9) == "90 % CI"


def test_thousands_have_commas_and_halves_round_away_from_zero():
    assert numbers.count(14210) == "14,210"
    assert (numbers.rounded(2.5), numbers.rounded(-2.5)) == ("3", "−3")
    assert numbers.rounded(-0.001, 1) == "0.0"


def test_no_line_break_parts_the_name_of_an_interval_in_a_heading():
    assert numbers.tied("Resolved, % (95 % CI)") == "Resolved, % (95\N{NO-BREAK SPACE}%\N{NO-BREAK SPACE}CI)"
    assert numbers.tied("Filled, %") == "Filled, %"
    assert numbers.tied("Limit (97.5 % CI) of 5 %") == "Limit (97.5\N{NO-BREAK SPACE}%\N{NO-BREAK SPACE}CI) of 5 %"


def test_a_rate_per_day_is_held_back_when_its_patients_are_too_few():
    rows = [
        ("bleeding", "a", "patients", 1, 4, 1, 0.25, 0.0, 0.8),
        ("bleeding", "a", "100 patient-days", 1, 120, 100, 0.8, 0.0, 4.6),
        ("bleeding", "b", "patients", 1, 5, 1, 0.2, 0.0, 0.7),
        ("bleeding", "b", "100 patient-days", 1, 3, 100, 33.0, 0.8, 185.0),
    ]
    assert list(too_few_for_a_rate(rates(rows).frame)) == [True, True, False, False]


def test_nobody_is_not_too_few():
    rows = [("bleeding", "a", "patients", 0, 0, 1, 0.0, 0.0, 1.0)]
    assert list(too_few_for_a_rate(rates(rows).frame)) == [False]


def test_a_mean_needs_five_sessions_of_three_patients():
    def row(n, patients):
        return ("yield, ml", "", "a", "geometric mean", 0, n, 0, patients, 100.0, 80.0, 120.0)

    table = summary([row(5, 3), row(4, 3), row(9, 2), row(0, 0)]).frame
    assert list(too_few_to_summarise(table)) == [False, True, True, False]


def test_sessions_without_a_yield_do_not_carry_a_mean():
    def row(events):
        return ("yield, ml", "", "a", "geometric mean", events, 9, 0, 4, 100.0, 80.0, 120.0)

    assert list(too_few_to_summarise(summary([row(4), row(5), row(NAN)]).frame)) == [False, True, False]


@pytest.mark.parametrize(("n", "decimals"), [(99, 0), (100, 1), (101, 1)])
def test_small_percentages_have_a_decimal_from_a_hundred_on(n, decimals):
    assert numbers.percent_decimals(0.05, n) == decimals


@pytest.mark.parametrize(("share", "decimals"), [(0.099, 1), (0.1, 0), (0.101, 0)])
def test_only_percentages_below_ten_have_a_decimal(share, decimals):
    assert numbers.percent_decimals(share, 100) == decimals


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (99.9, "99.9"),
        (100, "100"),
        (101, "101"),
        (9.99, "9.99"),
        (10, "10.0"),
        (10.1, "10.1"),
        (0.099, "0.099"),
        (0.1, "0.10"),
        (0.11, "0.11"),
        (0.0099, "0.0099"),
        (0.01, "0.010"),
        (0.011, "0.011"),
    ],
)
def test_an_amount_loses_a_decimal_at_each_edge_itself(value, written):
    assert numbers.amount(value) == written


@pytest.mark.parametrize(("high", "written"), [(89.0, "1.00–89.00"), (90.0, "1.00–90.0"), (91.0, "1.00–91.0")])
def test_a_limit_is_far_from_ten_times_its_estimate_on(high, written):
    assert numbers.amount_range(9.0, 1.0, high) == written
