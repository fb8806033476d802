import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import time_to_first_event
from necrostats.registry.tables import registry_from


def _at(result, day, cause):
    table = result.at_landmarks()
    return table[(table["days"] == day) & (table["cause"] == cause)].iloc[0]


def test_death_competes_and_a_second_event_is_not_a_first():
    """Four patients, nobody lost before day 30: one bleeds (twice), one dies, two stay free."""
    registry = registry_of(Course(events=[(5, "bleeding"), (9, "bleeding")]), Course(died_on=8), Course(), Course())
    result = time_to_first_event(registry, event_type="bleeding")
    assert _at(result, 30, "bleeding")["estimate"] == pytest.approx(0.25)
    assert _at(result, 30, "death")["estimate"] == pytest.approx(0.25)
    assert _at(result, 30, "bleeding")["at_risk"] == 2


def test_those_without_an_event_are_censored_at_their_last_contact():
    """Of two, one is lost on day 10; the other then bleeds on day 20: the whole of what was at risk."""
    registry = registry_of(Course(last_contact=10), Course(events=[(20, "bleeding")]))
    assert _at(time_to_first_event(registry), 30, "any adverse event")["estimate"] == pytest.approx(1.0)


def test_an_event_on_the_day_of_death_comes_first():
    result = time_to_first_event(registry_of(Course(events=[(8, "sepsis")], died_on=8), Course()))
    assert _at(result, 30, "any adverse event")["estimate"] == pytest.approx(0.5)
    assert _at(result, 30, "death")["estimate"] == 0


def test_any_day_counts_unless_a_window_is_named():
    registry = registry_of(Course(events=[(80, "bleeding")]), Course())
    assert _at(time_to_first_event(registry), 90, "any adverse event")["estimate"] == pytest.approx(0.5)
    within = time_to_first_event(registry, window="30 days")
    assert _at(within, 90, "any adverse event")["estimate"] == 0
    assert within.population.left_out["events after the window"] == 1


def test_unchecked_sessions_are_said_and_a_patient_in_whom_nobody_looked_is_left_out():
    registry = registry_of(Course(unchecked=[0]), Course(necrosectomies=[5], unchecked=[5]), Course())
    result = time_to_first_event(registry)
    assert result.population.patients == 2
    assert result.population.left_out["patients with no record that adverse events were looked for"] == 1
    assert any("2 sessions with no record" in note.text for note in result.notes)


def test_a_day_known_as_a_range_counts_at_its_earliest_and_is_said():
    base = registry_of(Course(events=[(5, "bleeding")]), Course())
    events = base.adverse_events.assign(day_latest=[40])
    result = time_to_first_event(registry_from({**base.tables, "adverse_events": events}, recorded=base.recorded))
    assert _at(result, 30, "any adverse event")["estimate"] == pytest.approx(0.5)
    assert any("known only as a range" in note.text for note in result.notes)


def test_what_is_known_only_later_cannot_group_and_a_quarter_alone_is_refused():
    registry = registry_of(Course())
    with pytest.raises(DesignError, match="immortal time"):
        time_to_first_event(registry, by="texture")
    with pytest.raises(DesignError, match="narrowed to 2024Q1"):
        time_to_first_event(registry.during("2024Q1"))
    with pytest.raises(ChoiceError, match="bleeding"):
        time_to_first_event(registry, event_type="bleed")


def test_nobody_gives_an_empty_answer():
    result = time_to_first_event(registry_of(Course()).select([False]))
    assert np.isnan(result.frame["estimate"].to_numpy(dtype=float)).all()


def test_a_patient_with_a_stent_of_unknown_end_is_left_out_of_a_window_that_runs_until_it_is_out():
    base = registry_of(Course(events=[(3, "bleeding")]), Course())
    one = {"stent_id": "T1", "patient_id": "P1", "stent_type": "lumen_apposing", "placed_day": 0}
    registry = registry_from({**base.tables, "stents": pd.DataFrame([one])}, recorded=base.recorded)
    result = time_to_first_event(registry, window="until stent out")
    assert result.population.patients == 1
    assert result.population.left_out["patients with a stent of which the end is not known"] == 1
    assert time_to_first_event(registry).population.patients == 2
