"""Events of this quarter, not yet watched to the end, beside those of the last quarter that was."""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.courses import Course, registry_of
from necrostats import chart, read_registry, table, watched_quarters, words
from necrostats.definitions.indicators import BY_NAME
from necrostats.errors import ChoiceError
from necrostats.measures.indicators import counted
from necrostats.registry.tables import registry_from
from necrostats.results import Unanswered

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"


@pytest.fixture(scope="module")
def synthetic():
    return read_registry(SYNTHETIC)


def rows(result, name="adverse events"):
    """Quarter → events, sessions that count, sessions watched to the end, and all."""
    own = result.frame[result.frame["variable"] == BY_NAME[name].title]
    return {row["group"]: (row["events"], row["n"], row["watched"], row["sessions"]) for row in own.to_dict("records")}


def unit(*this):
    """A quarter long past with one bleed in two sessions, and the courses of this quarter."""
    return registry_of(Course(necrosectomies=[20], events=[(21, "bleeding")], period="2024Q1"), *this, recorded=None)


def test_in_the_invented_unit_this_quarter_is_provisional_and_the_last_is_not(synthetic):
    result = watched_quarters(synthetic)
    assert rows(result) == {"2026Q2": (4, 38, 38, 38), "2026Q3": (1, 34, 23, 36)}
    (note,) = result.notes
    assert note.code == "NOT_MATURED"
    assert note.text == "2026Q3 is provisional: 23 of its 36 sessions have been watched for the whole 30 days."
    assert result.population.sessions == 72 and sum(result.population.left_out.values()) == 2


@pytest.mark.parametrize("name", ["adverse events", "serious events", "bleeding", "perforation or gas embolism"])
def test_figures_are_those_of_the_indicators(synthetic, name):
    found, quarters = counted(synthetic, BY_NAME[name]), list(synthetic.periods)
    for quarter, (events, n, _, _) in rows(watched_quarters(synthetic), name).items():
        place = quarters.index(quarter)
        assert (events, n) == (found.events[place], found.n[place])


def test_a_quarter_watched_to_the_end_stands_alone(synthetic):
    result = watched_quarters(synthetic, "2025Q3")
    assert list(rows(result, "bleeding")) == ["2025Q3"] and rows(result, "bleeding")["2025Q3"][0] == 8
    assert result.notes[0].text == "All 41 sessions of 2025Q3 have been watched for the whole 30 days."


@pytest.mark.parametrize(("observed", "ended"), [(29, 0), (30, 1), (31, 1)])
def test_day_30_itself_must_lie_before_the_data_lock(observed, ended):
    result = watched_quarters(unit(Course(observed=observed, last_contact=observed, period="2024Q2")))
    assert rows(result)["2024Q2"] == (0, 1, ended, 1)
    assert list(rows(result)) == (["2024Q2"] if ended else ["2024Q1", "2024Q2"])


def test_a_patient_who_died_has_been_watched_to_the_end():
    result = watched_quarters(unit(Course(observed=10, died_on=5, period="2024Q2")))
    assert rows(result) == {"2024Q2": (0, 1, 1, 1)}


def test_counts_worked_by_hand():
    """Of three sessions of this quarter one is followed by two events, one by none, and of one nobody knows."""
    ours = Course(
        necrosectomies=[40, 60],
        events=[(41, "bleeding"), (42, "perforation")],
        unchecked=[60],
        observed=75,
        last_contact=75,
        period="2024Q2",
    )
    result = watched_quarters(unit(ours))
    assert rows(result) == {"2024Q1": (1, 2, 2, 2), "2024Q2": (1, 2, 2, 3)}
    assert rows(result, "perforation or gas embolism")["2024Q2"] == (1, 2, 2, 3)
    assert result.population.left_out == {"sessions with no record that adverse events were looked for": 1}


def test_a_session_with_both_a_perforation_and_a_gas_embolism_counts_once():
    both = Course(events=[(1, "perforation"), (1, "gas_embolism")], observed=5, last_contact=5, period="2024Q2")
    other = Course(observed=5, last_contact=5, period="2024Q2")
    assert rows(watched_quarters(unit(both, other)), "perforation or gas embolism")["2024Q2"][:2] == (1, 2)


def test_where_no_quarter_has_been_watched_to_the_end_that_is_said():
    result = watched_quarters(registry_of(Course(observed=3, last_contact=3), recorded=None))
    assert list(rows(result)) == ["2024Q1"]
    assert result.notes[0].text.endswith("No earlier quarter has been watched to the end.")


def test_of_several_quarters_the_last_is_this_one(synthetic):
    assert list(rows(watched_quarters(synthetic, "2025Q4..2026Q3"))) == ["2026Q2", "2026Q3"]


def test_a_quarter_without_a_session_is_refused_with_those_there_are(synthetic):
    with pytest.raises(ChoiceError, match="this registry has sessions from 2023Q1 to 2026Q3"):
        watched_quarters(synthetic, "2027Q1")
    with pytest.raises(ChoiceError, match="Write 2026Q3"):
        watched_quarters(synthetic, "2026-Q3")


def test_a_unit_that_does_not_record_events_gets_no_figure(synthetic):
    tables = {name: frame for name, frame in synthetic.tables.items() if name != "adverse_events"}
    assert isinstance(watched_quarters(registry_from(tables)), Unanswered)


def test_an_indicator_that_is_not_recorded_has_no_row():
    assert BY_NAME["extra nights"].title not in set(watched_quarters(unit()).frame["variable"])


def test_it_is_shown_as_any_rate_is(synthetic):
    result = watched_quarters(synthetic)
    assert "2026Q3 is provisional" in words(result) and "4 / 38" in str(table(result).frame) and chart(result).alt
