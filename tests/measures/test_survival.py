from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats import bundled
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import event_free_survival, follow_up, recurrence, time_to_first_event
from necrostats.present import chart, table, words
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import registry_from


def _at(result, day, group="all"):
    table = result.frame
    return table[(table["days"] == day) & (table["group"] == group)].iloc[0]


def _registry():
    """Death on 20, surgery on 40 and death on 100, two alive: 0.8 by day 30, 0.6 by day 60."""
    return registry_of(Course(died_on=20), Course(surgery_on=40, died_on=100), Course(), Course(), Course(drain_on=10))


def test_the_first_end_counts_and_resolution_ends_nothing():
    resolved = Course(scans=[(15, 5)], well_on=[15], died_on=50)
    result = event_free_survival(registry_of(resolved, Course()))
    assert (_at(result, 30)["estimate"], _at(result, 60)["estimate"]) == (1, 0.5)


def test_five_patients_worked_by_hand():
    result = event_free_survival(_registry())
    assert [_at(result, day)["estimate"] for day in (30, 60, 90, 180)] == pytest.approx([0.8, 0.6, 0.6, 0.6])
    assert _at(result, 60)["at_risk"] == 3


def test_other_ends_can_be_asked_for():
    alive = event_free_survival(_registry(), ends="death")
    every = event_free_survival(_registry(), ends=("percutaneous drain", "death", "surgery"))
    assert [_at(alive, day)["estimate"] for day in (60, 180)] == pytest.approx([0.8, 0.6])
    assert _at(every, 30)["estimate"] == pytest.approx(0.6)
    assert every.title == "Survival free of death, surgery and percutaneous drain"


def test_an_end_off_the_list_is_refused():
    with pytest.raises(ChoiceError, match="death, surgery, percutaneous drain"):
        event_free_survival(_registry(), ends=("discharge",))
    with pytest.raises(ChoiceError, match="ends is empty"):
        event_free_survival(_registry(), ends=())


def test_something_known_only_later_is_refused_as_a_group():
    with pytest.raises(DesignError, match="immortal time"):
        event_free_survival(_registry(), by="ever_powered_debrider")


def test_it_is_drawn_from_100_percent_downwards_and_said_so():
    result = event_free_survival(registry_of(*[Course()] * 9, Course(died_on=0)))
    axes = chart(result).fig.axes[0]
    assert axes.lines[0].get_ydata()[0] == 1
    assert words(result).startswith("90 days from index drainage 90 % of 10 patients")
    assert "were free of death and surgery" in words(result)
    assert list(table(result).frame.columns)[-1] == "Free of death and surgery, % (95 % CI)"


def test_a_handful_is_listed_without_a_rate():
    assert words(event_free_survival(registry_of(Course(), Course(died_on=9)))).startswith(
        "Of 2 patients 1 were free of death and surgery while observed; too few for a rate."
    )


def test_follow_up_takes_the_end_of_observation_as_the_event():
    """Last seen on 100, 200, 300; dead on 50 and 150 (cut short): 100 of 4 at risk, 200 of 2: S 3/4, 3/8."""
    courses = [Course(last_contact=day) for day in (100, 200, 300)] + [Course(died_on=day) for day in (50, 150)]
    result = follow_up(registry_of(*courses))
    assert result.frame["estimate"].item() == 200
    assert result.frame["n"].item() == 5


def test_follow_up_ends_at_the_data_lock():
    assert follow_up(registry_of(Course(last_contact=90, observed=80))).frame["estimate"].item() == 80


def test_follow_up_by_group_keeps_the_groups_with_nobody():
    result = follow_up(registry_of(*[Course(about={"sex": "male"}, last_contact=70)] * 5), by="sex")
    assert result.frame["n"].tolist() == [0, 5, 0]
    assert np.isnan(result.frame["estimate"].to_numpy()[[0, 2]]).all()
    assert "male 70 days" in words(result)


def test_nobody_gives_an_empty_answer_and_no_error():
    nobody = _registry().select([False] * 5)
    for result in (event_free_survival(nobody), follow_up(nobody)):
        assert result.frame["estimate"].isna().all()
        assert chart(result).alt and words(result) and table(result).html


def test_follow_up_without_a_median_or_without_limits_says_why():
    never = follow_up(registry_of(*[Course(died_on=30)] * 6))
    assert np.isnan(never.frame["estimate"].item()) and [note.code for note in never.notes] == ["NOT_REACHED"]
    alike = follow_up(registry_of(*[Course(last_contact=90)] * 6))
    assert alike.frame["estimate"].item() == 90 and [note.code for note in alike.notes] == ["NO_LIMITS"]
    assert follow_up(registry_of(*[Course(last_contact=day) for day in range(90, 140)])).notes[1:] == ()


def _resolved(day=40, later=(), **more):
    return Course(scans=[(day, 10), *later], well_on=[day], last_contact=more.pop("last_contact", 400), **more)


def _at_after_resolution(result, day, cause="recurrence"):
    table = result.frame
    return table[(table["days"] == day) & (table["cause"] == cause)].iloc[0]


def test_four_patients_worked_by_hand_from_the_day_of_resolution():
    """Days from resolution: large scan 60, dead 100, a further session 200, last seen well at 360."""
    registry = registry_of(
        _resolved(later=[(100, 45)]),
        _resolved(died_on=140),
        _resolved(necrosectomies=[240]),
        _resolved(),
        Course(scans=[(40, 80)]),
    )
    result = recurrence(registry, days=(60, 100, 200))
    assert [_at_after_resolution(result, day)["estimate"] for day in (60, 100, 200)] == pytest.approx([0.25, 0.25, 0.5])
    assert [_at_after_resolution(result, day, "death")["estimate"] for day in (60, 100)] == pytest.approx([0, 0.25])
    assert result.population.patients == 4
    assert result.population.left_out["patients not resolved"] == 1


@pytest.mark.parametrize(
    ("more", "counts"),
    [
        ({"later": [(100, 31)]}, True),
        ({"later": [(100, 30)]}, False),
        ({"surgery_on": 100}, True),
        ({"drain_on": 100}, True),
        ({"necrosectomies": [30]}, False),
        ({"necrosectomies": [40]}, False),
        ({"late_collection": (100, [(100, 60)])}, True),
    ],
)
def test_what_counts_as_recurrence(more, counts):
    assert _at_after_resolution(recurrence(registry_of(_resolved(**more))), 90)["estimate"] == float(counts)


def test_death_first_means_no_recurrence():
    assert _at_after_resolution(recurrence(registry_of(_resolved(died_on=90))), 90, "death")["estimate"] == 1


def test_another_size_can_be_asked_for_and_a_relative_definition_falls_back_on_30_mm():
    registry = registry_of(_resolved(later=[(100, 45)]))
    assert _at_after_resolution(recurrence(registry, size_mm=50), 90)["estimate"] == 0
    half = ResolutionDefinition(name="half", size_mm=None, share_of_baseline=0.5, symptom_free=False)
    halved = registry_of(Course(scans=[(0, 90), (40, 40), (100, 45)], last_contact=400))
    assert "longer than 30 mm" in recurrence(halved, definition=half).method.definition
    with pytest.raises(ChoiceError, match="size_mm is -5"):
        recurrence(registry, size_mm=-5)


def test_patients_not_scanned_again_are_counted_in_a_note():
    notes = [note.text for note in recurrence(registry_of(_resolved(), _resolved(later=[(80, 5)]))).notes]
    assert any(text.startswith("1 resolved patient was not scanned after resolution") for text in notes)


def test_the_share_of_the_invented_registry_is_covered():
    """recurrence_share 0.05 of its parameters."""
    row = _at_after_resolution(recurrence(read_registry(bundled.synthetic_registry() / "tidy")), 365)
    assert row["low"] <= 0.05 <= row["high"]


def test_it_says_that_days_count_from_resolution():
    """0 of 12: Clopper–Pearson up to 26.5 %."""
    result = recurrence(registry_of(*[_resolved()] * 12))
    assert words(result).startswith(
        "Within 90 days of documented resolution none of 12 patients (95 % CI 0–26.5 %) had a recurrence"
    )
    assert "Days from documented resolution" in [text.get_text() for text in chart(result).fig.texts]


def test_nobody_resolved_gives_an_empty_answer_and_no_error():
    result = recurrence(registry_of(Course()))
    assert result.population.patients == 0
    assert result.frame["estimate"].isna().all()


def _at_first(result, day, cause):
    table = result.at_landmarks()
    return table[(table["days"] == day) & (table["cause"] == cause)].iloc[0]


def test_death_competes_and_a_second_event_is_not_a_first():
    """Four patients, nobody lost before day 30: one bleeds (twice), one dies, two stay free."""
    registry = registry_of(Course(events=[(5, "bleeding"), (9, "bleeding")]), Course(died_on=8), Course(), Course())
    result = time_to_first_event(registry, event_type="bleeding")
    assert _at_first(result, 30, "bleeding")["estimate"] == pytest.approx(0.25)
    assert _at_first(result, 30, "death")["estimate"] == pytest.approx(0.25)
    assert _at_first(result, 30, "bleeding")["at_risk"] == 2


def test_those_without_an_event_are_censored_at_their_last_contact():
    """Of two, one is lost on day 10; the other then bleeds on day 20: the whole of what was at risk."""
    registry = registry_of(Course(last_contact=10), Course(events=[(20, "bleeding")]))
    assert _at_first(time_to_first_event(registry), 30, "any adverse event")["estimate"] == pytest.approx(1.0)


def test_an_event_on_the_day_of_death_comes_first():
    result = time_to_first_event(registry_of(Course(events=[(8, "sepsis")], died_on=8), Course()))
    assert _at_first(result, 30, "any adverse event")["estimate"] == pytest.approx(0.5)
    assert _at_first(result, 30, "death")["estimate"] == 0


def test_any_day_counts_unless_a_window_is_named():
    registry = registry_of(Course(events=[(80, "bleeding")]), Course())
    assert _at_first(time_to_first_event(registry), 90, "any adverse event")["estimate"] == pytest.approx(0.5)
    within = time_to_first_event(registry, window="30 days")
    assert _at_first(within, 90, "any adverse event")["estimate"] == 0
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
    assert _at_first(result, 30, "any adverse event")["estimate"] == pytest.approx(0.5)
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


@pytest.mark.parametrize("died_on", [100, 101])
def test_a_recurrence_on_the_day_of_death_comes_first(died_on):
    registry = registry_of(_resolved(later=[(100, 45)], died_on=died_on))
    assert _at_after_resolution(recurrence(registry), 90)["estimate"] == 1
