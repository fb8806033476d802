"""Did anything change?"""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.courses import Course, registry_of
from necrostats import chart, read_registry, table, words
from necrostats.errors import ChoiceError
from necrostats.measures import quarter_verdicts
from necrostats.registry import periods
from necrostats.registry.tables import registry_from

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"
QUARTERS = periods.parse("2020Q1..2024Q4")


def unit(quarters, bled=lambda quarter: 0, patients=5):
    """So many patients a quarter with one necrosectomy each; the first `bled` of them bleed after it."""
    return registry_of(
        *[
            Course(necrosectomies=[5], events=[(6, "bleeding")] if place < bled(quarter) else [], period=quarter)
            for quarter in quarters
            for place in range(patients)
        ]
    )


def judged(result, variable="Bleeding"):
    rows = result.judged()
    return rows[rows["variable"] == variable].iloc[0]


@pytest.fixture(scope="module")
def synthetic():
    return read_registry(SYNTHETIC)


def test_in_the_invented_unit_only_the_quarter_with_the_real_rise_is_a_signal(synthetic):
    found = {
        quarter: rows.loc[rows["verdict"] == "signal", "variable"].tolist()
        for quarter in synthetic.periods
        for rows in [quarter_verdicts(synthetic, period=quarter).judged()]
    }
    assert {quarter: names for quarter, names in found.items() if names} == {"2025Q3": ["Bleeding"]}


def test_the_sentence_says_what_was_seen_what_was_expected_and_what_to_do(synthetic):
    said = words(quarter_verdicts(synthetic, period="2025Q3"))
    assert "1 of 12 indicators is a signal" in said
    assert "Bleeding: 8 of 38" in said and "0 to 4 would be compatible with no change: a signal" in said


def test_counts_and_baseline_worked_by_hand():
    result = quarter_verdicts(unit(QUARTERS, lambda quarter: quarter == "2020Q2"), period="2024Q4")
    row = judged(result)
    assert (row["events"], row["n"], row["baseline_events"], row["baseline_n"]) == (0, 10, 1, 190)
    assert row["verdict"] == "no signal" and result.baseline == "2020Q1 to 2024Q3"


@pytest.mark.parametrize(("bled", "verdict"), [(0, "no signal"), (1, "no signal"), (2, "signal"), (5, "signal")])
def test_after_a_baseline_without_events_what_that_still_allows_is_no_signal(bled, verdict):
    """Beta-binomial of 0 of 190 before and 10 now: P(more than 1) is below 0.00135."""
    result = quarter_verdicts(unit(QUARTERS, lambda quarter: bled * (quarter == "2024Q4")))
    assert judged(result)["verdict"] == verdict


@pytest.mark.parametrize("count", [1, 3, 11])
def test_few_quarters_are_too_early_and_that_is_said(count):
    result = quarter_verdicts(unit(QUARTERS[:count], lambda quarter: 5 * (quarter == QUARTERS[count - 1])))
    assert set(result.judged()["verdict"]) <= {"too early to say", "nothing to judge"}
    assert "BASELINE_SHORT" in [note.code for note in result.notes]
    assert words(result) and table(result).frame.shape[0] and chart(result).alt
    assert ("look at the cases" in words(result)) == (count > 1)


def test_twelve_quarters_are_enough_and_forty_are_shown():
    assert judged(quarter_verdicts(unit(QUARTERS[:13])))["verdict"] == "no signal"
    many = quarter_verdicts(unit(periods.parse("2012Q1..2021Q4"), patients=1))
    assert len(many.frame["group"].cat.categories) == 40 and chart(many).alt


def test_a_quarter_without_patients_has_nothing_to_judge():
    result = quarter_verdicts(unit([each for each in QUARTERS if each != "2024Q3"]), period="2024Q3")
    assert judged(result)["verdict"] == "nothing to judge"


def test_nobody_at_all_gives_an_empty_answer():
    result = quarter_verdicts(registry_of())
    assert words(result) and table(result).frame.empty and chart(result).alt


def test_what_is_not_recorded_has_no_row_and_a_note(synthetic):
    tables = {name: frame for name, frame in synthetic.tables.items() if name not in ("scans", "adverse_events")}
    result = quarter_verdicts(registry_from(tables))
    assert not {"Bleeding", "Documented resolution within 180 days"} & set(result.frame["variable"])
    assert "Add the table scans" in words(result) and "Add the table adverse_events" in words(result)


def test_a_quarter_or_an_indicator_that_is_not_there_is_refused(synthetic):
    with pytest.raises(ChoiceError, match="runs from"):
        quarter_verdicts(synthetic, period="2031Q1")
    with pytest.raises(ChoiceError, match="bleeding"):
        quarter_verdicts(synthetic, indicators=["bleding"])
    with pytest.raises(ChoiceError, match="Let it end before"):
        quarter_verdicts(synthetic, period="2026Q3", baseline="2023Q1..2026Q3")
