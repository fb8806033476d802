from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.results import NAN, curves, exact_curves
from necrostats.errors import ChoiceError
from necrostats.measures import time_to_resolution
from necrostats.present import words
from necrostats.present.say_curves import counted_once, reached
from necrostats.present.wording import findings

AT_90 = [
    ("all", "resolved", 0, 142, 0, 0, 0.0, NAN, NAN),
    ("all", "death", 0, 142, 0, 0, 0.0, NAN, NAN),
    ("all", "resolved", 90, 37, 2, 0, 0.62, 0.54, 0.69),
    ("all", "death", 90, 37, 0, 0, 0.15, 0.08, 0.22),
]


def test_incidence_is_said_with_origin_denominator_and_competing_ends():
    assert findings(exact_curves(AT_90)) == (
        "Within 90 days of index drainage 62 % of 142 patients (95 % CI 54–69 %) had documented resolution; "
        "15 % (8–22 %) died first.",
    )


LOST = [
    ("all", "resolved", 0, 142, 0, 3, 0.0, 0.0, 0.0),
    ("all", "resolved", 60, 30, 40, 1, 0.4, 0.3, 0.5),
    ("all", "resolved", 90, 7, 2, 0, 0.62, 0.54, 0.69),
]


def test_once_somebody_was_lost_a_share_is_an_estimate_and_none_is_quoted_with_fewer_than_ten_at_risk():
    (said,) = findings(exact_curves(LOST))
    assert said.startswith("Within 60 days of index drainage an estimated 40 % (95 % CI 30–50 %; n = 142 patients) had")
    assert "At day 90 fewer than 10 were still at risk: no share is quoted there." in said


def test_sessions_are_counted_as_sessions():
    rows = [("all", "resolved", k, 60, 9, 0, 0.3, 0.2, 0.4) for k in (0, 1, 2, 3)]
    text = findings(exact_curves(rows, axis="sessions", landmarks=(0, 1, 2, 3)))[0]
    assert text.startswith("Within 3 necrosectomy sessions 30 % of 60 patients")


def test_another_landmark_can_be_asked_for_and_an_unknown_one_is_refused():
    assert words(curves(), at=30).startswith("Within 30 days of index drainage")
    with pytest.raises(ChoiceError, match="0, 30, 60, 90, 180"):
        words(curves(), at=45)


def test_few_still_at_risk_are_said_beside_the_figure():
    rows = [(*row[:3], 6 if row[2] else 142, *row[4:]) for row in AT_90]
    assert "(only 6 still at risk just before that day)" in findings(exact_curves(rows))[0]


def test_nobody_resolved_is_said_without_a_rate():
    rows = [("all", "resolved", day, 20, 0, 0, 0.0, NAN, NAN) for day in (0, 90)]
    assert findings(exact_curves(rows)) == (
        "Within 90 days of index drainage none of 20 patients (no interval) had documented resolution.",
    )


def test_what_is_beyond_the_data_is_not_said():
    rows = [("all", "resolved", 0, 20, 0, 0, 0.0, NAN, NAN), ("all", "resolved", 90, 0, 0, 0, NAN, NAN, NAN)]
    assert "it cannot be said how many of 20 patients" in findings(exact_curves(rows))[0]


def test_fewer_than_five_are_listed_without_a_rate():
    rows = [("all", "resolved", 0, 3, 0, 0, 0.0, NAN, NAN), ("all", "resolved", 90, 3, 2, 1, 0.67, 0.1, 0.9)]
    text = findings(exact_curves(rows))[0]
    assert text == "Of 3 patients 2 had documented resolution while observed; too few for a rate."
    assert "%" not in text


def test_a_median_is_given_with_its_interval_or_as_not_reached():
    medians = pd.DataFrame({"group": ["all"], "cause": ["resolved"], "estimate": [62.0], "low": [50.0], "high": [NAN]})
    reached = findings(exact_curves(AT_90, medians=medians))[0]
    assert reached.endswith("The median was 62 days (95 % CI 50 to not reached).")
    missed = findings(exact_curves(AT_90, medians=medians.assign(estimate=NAN, low=NAN)))[0]
    assert missed.endswith("The median was not reached.")


def test_an_empty_group_is_named():
    said = findings(curves(groups={"a": 30}, categories=["a", "b"]))
    assert said[1] == "B: nobody was at risk."
    assert findings(exact_curves([], landmarks=())) == ("Nobody was at risk.",)


def test_where_none_had_it_the_exact_upper_limit_is_said():
    rows = [("all", "resolved", day, 20, 0, 0, 0.0, 0.0, 0.168) for day in (0, 90)]
    assert "none of 20 patients (95 % CI 0–16.8 %) had documented resolution" in findings(exact_curves(rows))[0]
    surgery = ("all", "surgery", 90, 37, 0, 0, 0.0, 0.0, 0.0256)
    drain = ("all", "percutaneous drain", 90, 37, 0, 0, 0.034, 0.01, 0.08)
    more = [*AT_90, surgery, drain]
    said = findings(exact_curves(more))[0]
    assert "; none (0–2.6 %) went to surgery first; 3.4 % (1.0–8.0 %) had a percutaneous drain first." in said


def test_ends_of_collections_are_those_of_their_patients():
    said = findings(exact_curves(AT_90, of="collections"))[0]
    assert said.endswith("15 % (8–22 %) belonged to patients who died first.")


def test_death_beside_another_event_is_said_to_be_without_it():
    rows = [(row[0], {"resolved": "recurrence"}.get(row[1], row[1]), *row[2:]) for row in AT_90]
    result = exact_curves(rows)
    assert findings(result)[0].endswith("had died without it.")
    assert counted_once(result) == "" and counted_once(exact_curves(AT_90)).startswith("Each patient counts once")


def test_a_median_without_a_band_has_no_interval():
    medians = pd.DataFrame({"group": ["all"], "cause": ["resolved"], "estimate": [50.0], "low": [NAN], "high": [NAN]})
    assert findings(exact_curves(AT_90, medians=medians))[0].endswith("The median was 50 days (no interval).")


@pytest.mark.parametrize(
    ("cause", "verb"),
    [
        ("not resolved within 180 days", "reached day 180 unresolved"),
        ("death or not resolved within 90 days", "died or reached day 90 unresolved"),
        (
            "death, surgery or not resolved within 180 days",
            "died, went to surgery or reached day 180 unresolved",
        ),
    ],
)
def test_the_end_at_the_horizon_has_a_verb_alone_and_beside_others(cause, verb):
    assert reached(cause) == verb


def test_who_died_first_never_stands_without_all_deaths():
    died = Course(scans=[(20, 12)], well_on=[20], died_on=60)
    result = time_to_resolution(registry_of(died, Course(died_on=30), *[Course()] * 10))
    assert findings(result)[-1] == "All deaths while observed, before or after resolution: 2 of 12 patients."
    assert time_to_resolution(registry_of(*[Course()] * 10)).beside == ()
