import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.measures import (
    bootstrap_resolution,
    event_free_survival,
    follow_up,
    sessions_to_resolution,
    time_to_resolution,
)
from necrostats.measures.plateaus import plateau_notes
from necrostats.present import describe, tabulate
from necrostats.stats.incidence import aalen_johansen, kaplan_meier, quantile


def _texts(result):
    return [note.text for note in result.notes if note.code == "MEDIAN_ON_PLATEAU"]


def _resolved_on(*days, **more):
    return [Course(necrosectomies=[1], scans=[(day, 10)], well_on=[day], **more) for day in days]


def test_four_patients_resolved_on_days_10_20_30_and_40_have_a_median_of_25_and_any_day_from_20_to_30_fits():
    """Worked by hand: half are resolved from day 20 on, and more than half only from day 30 on."""
    result = time_to_resolution(registry_of(*_resolved_on(10, 20, 30, 40)))
    medians = result.medians[result.medians["cause"] == "resolved"]
    assert medians["estimate"].item() == 25
    [text] = _texts(result)
    assert "any day from 20 to 30 fits (all). The middle is shown." in text
    assert text in describe(result)
    assert text in tabulate(result).notes


def test_a_curve_that_steps_over_one_half_says_nothing():
    assert _texts(time_to_resolution(registry_of(*_resolved_on(10, 20, 30)))) == []


def test_only_groups_with_a_stretch_are_named():
    men = _resolved_on(10, 20, 30, 40, about={"sex": "male"})
    women = _resolved_on(10, 20, 30, about={"sex": "female"})
    [text] = _texts(time_to_resolution(registry_of(*men, *women), by="sex"))
    assert "any day from 20 to 30 fits (male)" in text
    assert "female" not in text


def test_a_number_of_sessions_is_the_first_that_half_reach_and_no_middle():
    courses = [Course(necrosectomies=[*range(1, k + 1)], scans=[(60, 10)], well_on=[60]) for k in (1, 2, 4, 5)]
    assert _texts(sessions_to_resolution(registry_of(*courses))) == []


def test_survival_and_follow_up_say_it_too():
    registry = registry_of(*[Course(last_contact=400, died_on=day) for day in (10, 20, 30, 40)])
    assert "any day from 20 to 30 fits" in _texts(event_free_survival(registry))[0]
    followed = registry_of(*[Course(last_contact=day) for day in (10, 20, 30, 40)])
    assert follow_up(followed).table["estimate"].item() == 25
    assert "any day from 20 to 30 fits" in _texts(follow_up(followed))[0]


def test_a_bootstrap_says_it_beside_the_median_by_formula():
    result = bootstrap_resolution(registry_of(*_resolved_on(10, 20, 30, 40)), replicates=10)
    assert "any day from 20 to 30 fits (all)" in _texts(result)[0]


@pytest.mark.parametrize("fit", [kaplan_meier, aalen_johansen])
def test_a_stretch_to_the_end_of_follow_up_ends_with_it_and_an_unreached_median_has_none(fit):
    level = quantile(fit([2, 8], [1, 0]))
    assert "any day from 2 to 8 fits (x)" in plateau_notes(level, ["x"])[0].text
    never = quantile(fit([2, 8, 9], [1, 0, 0]))
    assert np.isnan(never.stretch.first).all() and np.isnan(never.stretch.last).all()
    assert plateau_notes(never, ["x"]) == ()
