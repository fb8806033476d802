from __future__ import annotations

from types import SimpleNamespace

import pytest

from necrostats.present import cells

NAN = float("nan")


def _rate(**changes):
    given = {"estimate": 14 / 880, "low": 0.0087, "high": 0.0265, "n": 880, "per": 1, "unit": "sessions"}
    return SimpleNamespace(**(given | changes))


def _described(measure, estimate, low=NAN, high=NAN, n=40):
    return SimpleNamespace(measure=measure, estimate=estimate, low=low, high=high, n=n)


def test_a_share_a_rate_per_exposure_and_a_rate_per_patient_are_told_apart_by_their_unit():
    assert cells.is_share(1, "patients")
    assert not cells.is_share(100, "100 patient-days")
    assert not cells.is_share(1, "events per patient")
    assert (cells.per_unit("events per patient"), cells.exposure("events per patient")) == ("patient", "patients")
    assert (cells.per_unit("100 patient-days"), cells.exposure("100 patient-days")) == (
        "100 patient-days",
        "patient-days",
    )


def test_a_fraction_of_nothing_known_is_written_with_noughts():
    assert cells.fraction(14, 880) == "14 / 880"
    assert cells.fraction(1234, 5678) == "1,234 / 5,678"
    assert cells.fraction(None, NAN) == "0 / 0"


def test_a_rate_of_sessions_has_its_interval_and_one_of_days_its_decimals():
    assert cells.rate(_rate(), few=False) == "1.6 % (0.9–2.7)"
    days = _rate(estimate=0.1056, low=0.0591, high=0.1741, n=14210, per=100, unit="100 patient-days")
    assert cells.rate(days, few=False) == "0.11 (0.06–0.17)"


@pytest.mark.parametrize(("changes", "few", "said"), [({"n": 0}, False, "nobody at risk"), ({}, True, "too few")])
def test_a_rate_of_nobody_or_of_too_few_says_so_instead(changes, few, said):
    assert cells.rate(_rate(**changes), few) == said


def test_an_interval_in_a_sentence_names_its_level_once():
    assert cells.spoken_share(11 / 235, 0.024, 0.082, 235, 0.95) == "4.7 %, 95 % CI 2.4–8.2 %"
    assert cells.spoken_share(11 / 235, 0.024, 0.082, 235) == "4.7 %, 2.4–8.2 %"
    assert cells.spoken_share(0.5, NAN, NAN, 20, 0.95) == "50 %, no interval"
    assert cells.spoken_interval("0.04–0.28", 0.9) == "90 % CI 0.04–0.28"
    assert cells.spoken_interval("no interval", 0.9) == "no interval"


def test_the_median_of_a_curve_may_be_beyond_the_data_at_either_end():
    assert cells.median_reached(62, 50, 75) == "62 (50–75)"
    assert cells.median_reached(62, 50, NAN) == "62 (50 to not reached)"
    assert cells.median_reached(NAN, 80, NAN) == "not reached (80 to not reached)"
    assert cells.median_reached(NAN, NAN, NAN) == "not reached"
    assert cells.median_reached(62, NAN, NAN) == "62 (no interval)"


@pytest.mark.parametrize(
    ("row", "few", "said"),
    [
        (_described("median", 56, 44, 67.5), False, "56 (44–67.5)"),
        (_described("median", 56), False, "56"),
        (_described("geometric mean", 184.2, 150.3, 226.1), False, "184 (150–226)"),
        (_described("geometric mean", NAN), False, "not determined"),
        (_described("share", 0.4, 0.25, 0.57), False, "40 % (25–57)"),
        (_described("share", 0.4), False, "40 %"),
        (_described("share", 0.4, n=0), False, "no values"),
        (_described("share", 0.4, n=3), True, "too few"),
    ],
)
def test_the_estimate_of_a_summary_is_written_by_its_measure(row, few, said):
    assert cells.description(row, few) == said


def test_an_amount_that_is_not_known_has_no_number():
    assert cells.amount(NAN, NAN, NAN) == "no values"
    assert cells.share(NAN, 0, 1, 10) == "no values"
    assert cells.amount(0.11, 0.06, 0.17) == "0.11 (0.06–0.17)"
