"""Did anything change?"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from builders.courses import Course, registry_of
from necrostats import chart, read_registry, table, words
from necrostats.errors import ChoiceError
from necrostats.measures import quarter_verdicts
from necrostats.measures.quarters import _rate_limits
from necrostats.registry import periods
from necrostats.registry.tables import registry_from
from necrostats.stats.control_charts import ACTION

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"
QUARTERS = periods.parse("2020Q1..2024Q4")
pytestmark = pytest.mark.usefixtures("counted_once")


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
    signals = {quarter: names for quarter, names in found.items() if names}
    assert list(signals) == ["2025Q3"]
    assert len(signals["2025Q3"]) == 3 and all("leeding" in name for name in signals["2025Q3"])


def test_the_sentence_says_what_was_seen_what_was_expected_and_what_to_do(synthetic):
    said = words(quarter_verdicts(synthetic, period="2025Q3"))
    assert "3 of 22 indicators are signals" in said
    assert "Bleeding: 8 of 38" in said and "0 to 4 would be compatible with no change: a signal" in said


def test_counts_and_baseline_worked_by_hand():
    bled_once = unit(QUARTERS, lambda quarter: quarter == "2020Q2")
    result = quarter_verdicts(bled_once, period="2024Q4", indicators=["bleeding"])
    row = judged(result)
    assert (row["events"], row["n"], row["baseline_events"], row["baseline_n"]) == (0, 10, 1, 190)
    assert row["verdict"] == "no signal" and result.baseline == "2020Q1 to 2024Q3"


@pytest.mark.parametrize(("bled", "verdict"), [(0, "no signal"), (1, "no signal"), (2, "signal"), (5, "signal")])
def test_after_a_baseline_without_events_what_that_still_allows_is_no_signal(bled, verdict):
    """Beta-binomial of 0 of 190 before and 10 now: P(more than 1) is below 0.00135."""
    result = quarter_verdicts(unit(QUARTERS, lambda quarter: bled * (quarter == "2024Q4")), indicators=["bleeding"])
    assert judged(result)["verdict"] == verdict


def test_several_quarters_are_judged_as_one_against_those_before():
    result = quarter_verdicts(unit(QUARTERS, lambda quarter: 2 * (quarter == "2024Q2")), period="2024Q1..2024Q4")
    row = judged(result)
    assert (row["group"], row["events"], row["n"]) == ("2024Q1..2024Q4", 2, 40)
    assert (row["baseline_n"], result.baseline) == (160, "2020Q1 to 2023Q4")
    assert "2024Q1..2024Q4" in words(result) and chart(result).alt
    cells = table(result).frame.set_index("Indicator").loc["Bleeding"]
    assert cells["Before"] == "0/40 (0 %)" and cells["2024Q1..2024Q4"] == "2/40 (5 %)"


def test_what_must_mature_is_judged_in_the_last_quarter_that_has(synthetic):
    rows = quarter_verdicts(synthetic, period="2026Q3").judged().set_index("name")
    assert rows.loc["deaths within 30 days", "group"] == "2026Q2"
    assert rows.loc["resolved within 180 days", "group"] == "2026Q1"
    assert (rows.loc["resolved within 180 days", ["events", "n"]] == [5, 6]).all()
    assert rows.loc["bleeding", "group"] == "2026Q3"


def test_a_quarter_with_one_session_says_so_and_offers_a_longer_period():
    last = Course(necrosectomies=[5], period=QUARTERS[-1])
    others = [Course(necrosectomies=[5], period=quarter) for quarter in QUARTERS[:-1] for _ in range(5)]
    text = words(quarter_verdicts(registry_of(*others, last), period="2024Q4"))
    assert "2024Q4 holds 2 sessions: too few for a rate. Take several quarters together: period 2024Q1..2024Q4." in text


def test_the_headline_has_five_indicators_and_the_last_eight_quarters(synthetic):
    figure = chart(quarter_verdicts(synthetic, period="2025Q3"), of="headline")
    assert figure.data["variable"].nunique() == 5
    assert figure.data["group"].nunique() == 8 and figure.data["group"].iloc[-1] == "2025Q3"
    assert chart(quarter_verdicts(synthetic), of="headline", width="column").alt
    with pytest.raises(ChoiceError, match="headline"):
        chart(quarter_verdicts(synthetic), of="headlines")


@pytest.mark.parametrize("count", [1, 3, 11])
def test_few_quarters_are_too_early_and_that_is_said(count):
    result = quarter_verdicts(unit(QUARTERS[:count], lambda quarter: 5 * (quarter == QUARTERS[count - 1])))
    assert set(result.judged()["verdict"]) <= {"too early to say", "nothing to judge"}
    assert "BASELINE_SHORT" in [note.code for note in result.notes]
    assert words(result) and table(result).frame.shape[0] and chart(result).alt
    assert ("look at the cases" in words(result)) == (count > 1)


def test_twelve_quarters_are_enough_and_forty_are_shown():
    assert judged(quarter_verdicts(unit(QUARTERS[:13]), indicators=["bleeding"]))["verdict"] == "no signal"
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


def test_what_the_unit_changed_is_marked_and_the_baseline_stays(synthetic):
    plain, marked = (
        quarter_verdicts(synthetic, phases=each) for each in ("", "2024Q3: new debrider; 2025Q1: checklist")
    )
    assert marked.phases == (("2024Q3", "new debrider"), ("2025Q1", "checklist"))
    assert marked.frame.equals(plain.frame) and marked.baseline == plain.baseline
    assert "Marked by the unit: new debrider from 2024Q3 on and checklist from 2025Q1 on." in table(marked).notes[0]
    lines = [len(chart(each).fig.axes[0].lines) for each in (plain, marked)]
    assert lines[1] - lines[0] == 2 and "dashed: what the unit marked" in chart(marked).caption


@pytest.mark.parametrize("phases", ["new debrider", "2024Q3", "2024Q3..2024Q4: both", "Q3: late"])
def test_phases_that_cannot_be_read_are_refused(phases, synthetic):
    with pytest.raises(ChoiceError, match=r"2024Q3|quarter"):
        quarter_verdicts(synthetic, phases=phases)


def test_what_the_quarter_held_nobody_of_is_said_in_one_line():
    result = quarter_verdicts(unit(QUARTERS[:4]), period="2020Q4", indicators=["bleeding", "stents out within 28 days"])
    empty = result.judged().loc[lambda rows: rows["n"] == 0, "variable"].tolist()
    shown = table(result)
    assert empty and not set(empty) & set(shown.frame["Indicator"]) and shown.notes[0].startswith("Nothing to judge: ")


@pytest.mark.parametrize(("held", "few"), [(4, True), (5, False), (6, False)])
def test_fewer_than_five_sessions_are_too_few_for_a_rate(held, few):
    registry = registry_of(*[Course(period="2024Q4")] * held)
    result = quarter_verdicts(registry, period="2024Q4", indicators=["bleeding"])
    assert ("SMALL_N" in [note.code for note in result.notes]) == few


def test_a_rate_without_events_before_has_the_limit_that_one_action_tail_leaves():
    """Gamma-Poisson with Jeffreys' prior: negative binomial of 1/2 and 1000 / 1300."""
    seen = stats.nbinom(0.5, 1000 / 1300)
    (high,) = _rate_limits(0, 1000, np.array([300.0]))[1]
    assert seen.sf(high) <= ACTION < seen.sf(high - 1)
    assert seen.sf(high) > ACTION / 2
