"""Does an indicator change slowly, or hardly ever?"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from builders.courses import Course, registry_of
from necrostats import quarter_verdicts, read_registry, slow_changes, table, words
from necrostats.errors import NecrostatsError
from necrostats.registry import periods

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"
QUARTERS = periods.parse("2020Q1..2024Q4")
LAST = len(QUARTERS) - 1


def found(bled, period="", patients=5, quarters=QUARTERS):
    """The row of bleeding where so many of the patients of each quarter bleed; two sessions a patient."""
    registry = registry_of(
        *[
            Course(necrosectomies=[5], events=[(6, "bleeding")] if each < bled(place) else [], period=quarter)
            for place, quarter in enumerate(quarters)
            for each in range(patients)
        ]
    )
    result = slow_changes(quarter_verdicts(registry, period=period, indicators=["bleeding"]))
    return result, (result.frame.iloc[0] if len(result.frame) else None)


@pytest.mark.parametrize(
    ("events", "chart"), [(95, "run chart"), (94, "CUSUM"), (19, "CUSUM"), (18, "CUSUM and g chart")]
)
def test_the_chart_is_chosen_by_the_events_expected_in_a_quarter(events, chart):
    """10 sessions a quarter, 190 in the baseline: 5 expected with 95 events, 1 with 19."""
    each, more = divmod(events, LAST)
    _, row = found(lambda place: (each + (place < more)) if place < LAST else 0)
    assert row["chart"] == chart and row["expected"] == pytest.approx(10 * events / 190)


def test_sessions_since_the_last_event_worked_by_hand():
    """One bleed in 2020Q2, 18 quarters of 10 sessions since; its own had 9 others."""
    _, row = found(lambda place: place == 1)
    assert (row["since_at_least"], row["since_at_most"]) == (180, 189)
    assert row["since_limit"] == math.ceil(math.log(0.00135) / math.log(1 - 1 / 190)) - 1
    assert row["verdict"] == "no signal"


def test_the_sum_worked_by_hand():
    """Twice the odds: each event adds log 2, each session takes log(1 + p) away; three quarters after the bleed."""
    _, row = found(lambda place: place == 1, period="2021Q1")
    p = 1 / 190
    assert row["sum"] == pytest.approx(math.log(2) - 40 * math.log(1 + p)) and row["above_since"] == ""


def test_a_rise_that_no_single_quarter_need_show_is_found_and_dated():
    result, row = found(lambda place: 0 if place < 10 else 3)
    assert (row["chart"], row["verdict"]) == ("CUSUM", "signal")
    assert row["above_since"] in QUARTERS[11:] and f"since {row['above_since']}" in words(result)


def test_a_long_run_above_the_median_is_a_signal():
    result, row = found(lambda place: 4 if place < 10 else 8, patients=20)
    assert (row["chart"], row["longest_run"], row["longest_expected"]) == ("run chart", 10, 7)
    assert (row["crossings"], row["verdict"]) == (1, "signal")
    assert "10 quarters in a row on one side of the median" in words(result)


def test_with_eleven_quarters_before_it_is_too_early():
    result, row = found(lambda place: place % 2, quarters=QUARTERS[:12])
    assert row["verdict"] == "too early to say" and "too early" in words(result)
    assert found(lambda place: place % 2, quarters=QUARTERS[:13])[1]["verdict"] == "no signal"


def test_without_an_event_in_the_baseline_no_rule_can_be_set():
    result, row = found(lambda place: 0)
    assert row is None and words(result).startswith("No indicator has a baseline")
    assert table(result).frame.empty


def test_in_the_invented_unit_only_the_bleeding_over_stent_days_has_changed():
    """Sums by hand: 3.71 and 3.92 in the two quarters before, below the threshold; 5.65, 4.78 and 4.65 since."""
    frame = slow_changes(quarter_verdicts(read_registry(SYNTHETIC))).frame
    assert frame.loc[frame["verdict"] == "signal", ["name", "above_since"]].values.tolist() == [
        ["bleeding over stent-days", "2026Q1"]
    ]


def test_what_is_no_verdict_of_quarters_is_refused():
    with pytest.raises(NecrostatsError, match="quarter_verdicts"):
        slow_changes(read_registry(SYNTHETIC))
