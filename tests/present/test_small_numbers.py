from __future__ import annotations

from builders.results import NAN, rates, summary
from necrostats.present.small_numbers import too_few_for_a_rate, too_few_to_summarise


def test_a_rate_per_day_is_held_back_when_its_patients_are_too_few():
    rows = [
        ("bleeding", "a", "patients", 1, 4, 1, 0.25, 0.0, 0.8),
        ("bleeding", "a", "100 patient-days", 1, 120, 100, 0.8, 0.0, 4.6),
        ("bleeding", "b", "patients", 1, 5, 1, 0.2, 0.0, 0.7),
        ("bleeding", "b", "100 patient-days", 1, 3, 100, 33.0, 0.8, 185.0),
    ]
    assert list(too_few_for_a_rate(rates(rows).table)) == [True, True, False, False]


def test_nobody_is_not_too_few():
    rows = [("bleeding", "a", "patients", 0, 0, 1, 0.0, 0.0, 1.0)]
    assert list(too_few_for_a_rate(rates(rows).table)) == [False]


def test_a_mean_needs_five_sessions_of_three_patients():
    def row(n, patients):
        return ("yield, ml", "", "a", "geometric mean", 0, n, 0, patients, 100.0, 80.0, 120.0)

    table = summary([row(5, 3), row(4, 3), row(9, 2), row(0, 0)]).table
    assert list(too_few_to_summarise(table)) == [False, True, True, False]


def test_sessions_without_a_yield_do_not_carry_a_mean():
    def row(events):
        return ("yield, ml", "", "a", "geometric mean", events, 9, 0, 4, 100.0, 80.0, 120.0)

    assert list(too_few_to_summarise(summary([row(4), row(5), row(NAN)]).table)) == [False, True, False]
