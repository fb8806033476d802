from __future__ import annotations

import math

import pandas as pd
import pytest

from builders.results import NAN, comparison
from builders.stented import two_arms
from necrostats.measures import compare_adverse_events
from necrostats.present import chart, contrasts, table, words


def _row(estimate, low, high, measure="odds ratio"):
    table = comparison([("a", "b", measure, estimate, low, high, NAN, 0.5)]).frame
    return next(table.itertuples())


@pytest.mark.parametrize(
    ("numbers", "text"),
    [
        ((math.inf, 1.29, math.inf), "not estimable (1.29 to no upper limit)"),
        ((0.0, 0.0, 28.8), "0 (0–28.8)"),
        ((0.12, 0.0008, 2.29), "0.12 (0.0008–2.29)"),
        ((1.42, 1.05, 1.92), "1.42 (1.05–1.92)"),
        ((NAN, NAN, NAN), "not estimated"),
    ],
)
def test_a_ratio_without_end_is_said_in_words(numbers, text):
    assert contrasts.text(_row(*numbers)) == text


def _compared(events, n, events_ref, n_ref, **options):
    return compare_adverse_events(
        two_arms(events, n, events_ref, n_ref), by="sex", reference="female", event_type="bleeding", **options
    )


def test_counts_test_and_rule_stand_with_the_contrast():
    result = _compared(8, 10, 2, 10)
    said = words(result)
    assert "8 of 10 v 2 of 10 patients; Boschloo's exact test." in said
    assert "Boschloo's exact test: a group has fewer than 5 events (2)." in said
    shown = table(result)
    named = ["Bleeding: risk difference, percentage points", "male v female"]
    assert list(shown.frame.iloc[0])[:4] == [*named, "8 / 10", "2 / 10"]
    assert "Boschloo's exact test: a group has fewer than 5 events (2)." in shown.notes


def test_a_sentence_of_a_rate_ratio_speaks_of_days_alone():
    said = words(_compared(8, 10, 2, 10, unit="100 patient-days")).split(" Estimand")[0]
    assert "8 in 310 v 2 in 310 patient-days" in said
    assert "patients" not in said.split("; conditional")[0].replace("patient-days", "")


@pytest.mark.parametrize("width", ["page", "column"])
def test_an_infinite_ratio_is_drawn_as_an_arrow_and_never_crashes(width):
    result = _compared(8, 10, 0, 10, unit="100 patient-days")
    assert math.isinf(result.frame.set_index("group").loc["male", "estimate"])
    figure = chart(result, width=width)
    assert "An arrow points to what lies beyond the scale" in figure.caption
    markers = [line.get_marker() for axes in figure.fig.axes for line in axes.lines]
    assert ">" in markers
    assert "inf" not in figure._repr_html_().replace("information", "").split("<details>")[1]
    assert "no upper limit" in words(result)


def test_several_events_are_told_apart_and_the_heading_says_holm():
    result = compare_adverse_events(
        two_arms(12, 30, 6, 40), by="sex", reference="female", event_type=["bleeding", "any adverse event"]
    )
    frame = table(result).frame
    assert list(frame["Measure"].unique()) == [
        "Bleeding: risk difference, percentage points",
        "Any adverse event: risk difference, percentage points",
    ]
    assert "p-value, Holm" in frame.columns
    assert {"Bleeding", "Any adverse event"} <= {text.get_text() for text in chart(result).fig.texts}


def test_a_comparison_without_counts_is_as_it_was():
    assert contrasts.counts(next(comparison().frame.itertuples())) == ("", "")
    assert contrasts.rules(comparison().frame) == ()
    assert contrasts.p_heading(pd.DataFrame({"p_value": [0.1]})) == "p-value"
