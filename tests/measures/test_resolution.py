import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures import time_to_resolution


def _resolved(day, **about):
    return Course(scans=[(day, 10)], well_on=[day], about=about)


def _at(result, day, cause="resolved", group="all"):
    table = result.table
    return table[(table["days"] == day) & (table["cause"] == cause) & (table["group"] == group)].iloc[0]


def test_ten_patients_worked_by_hand():
    """Aalen–Johansen by hand, three causes: 0.608333, 0.1 and 0.116667 by day 70; deaths at 25, surgery at 40."""
    censored = [Course(last_contact=day) for day in (30, 60, 80)]
    resolved = [_resolved(day) for day in (20, 30, 35, 50, 70)]
    result = time_to_resolution(
        registry_of(*censored, *resolved, Course(died_on=25), Course(surgery_on=40)), days=(70,)
    )
    assert _at(result, 70)["estimate"] == pytest.approx(0.608333, abs=5e-7)
    assert _at(result, 70, "death")["estimate"] == pytest.approx(0.1, abs=5e-7)
    assert _at(result, 70, "surgery")["estimate"] == pytest.approx(0.116667, abs=5e-7)


def test_every_named_day_has_a_row_even_when_nothing_happened_on_it():
    result = time_to_resolution(registry_of(_resolved(20), _resolved(100)))
    assert {0, 30, 60, 90, 180} <= set(result.table["days"])
    assert _at(result, 60)["estimate"] == 0.5
    assert _at(result, 60)["events"] == 0
    assert _at(result, 60)["at_risk"] == 1


def test_nothing_is_estimated_beyond_the_last_time_anybody_was_followed():
    result = time_to_resolution(registry_of(_resolved(20), Course(last_contact=40)))
    assert _at(result, 30)["estimate"] == 0.5
    assert np.isnan(_at(result, 60)["estimate"])


def test_a_complete_course_is_known_to_the_horizon():
    result = time_to_resolution(registry_of(_resolved(20), Course(died_on=40)))
    assert _at(result, 180)["estimate"] == 0.5


def test_with_nobody_censored_and_few_patients_the_interval_is_clopper_pearson():
    """1 of 10 by day 20: 0.25 % to 44.50 % (Clopper–Pearson, beta quantiles)."""
    result = time_to_resolution(registry_of(*[_resolved(20 + number) for number in range(10)]), days=(20,))
    row = _at(result, 20)
    assert (row["conf_low"], row["conf_high"]) == pytest.approx((0.002529, 0.445016), abs=5e-7)


def test_groups_with_nobody_stay_in_the_table():
    result = time_to_resolution(registry_of(_resolved(20, sex="female"), _resolved(30, sex="male")), by="sex")
    assert list(result.table["group"].cat.categories) == ["female", "male", "other"]
    assert np.isnan(_at(result, 180, group="other")["estimate"])
    assert _at(result, 20, group="female")["estimate"] == 1


def test_a_patient_without_a_group_is_left_out_and_counted():
    result = time_to_resolution(registry_of(_resolved(20, sex="female"), _resolved(30)), by="sex")
    assert result.population.patients == 1
    assert result.population.left_out["patients without a group"] == 1


@pytest.mark.parametrize("later", ["instrument_class", "vital_status", "clearance"])
def test_something_known_only_later_is_refused_as_a_group(later):
    with pytest.raises(DesignError, match="immortal time"):
        time_to_resolution(registry_of(_resolved(20)), by=later)


def test_a_misspelt_group_is_answered_with_the_nearest():
    with pytest.raises(ChoiceError, match='Did you mean "aetiology"'):
        time_to_resolution(registry_of(_resolved(20)), by="etiology")


def test_the_definition_travels_with_the_result():
    loose = ResolutionDefinition(name="50 mm", reference="invented for a test", size_mm=50, symptom_free=False)
    result = time_to_resolution(registry_of(Course(scans=[(60, 45)])), definition=loose)
    assert _at(result, 60)["estimate"] == 1
    assert "at most 50 mm" in result.method.definition


def test_the_order_and_the_names_of_patients_change_nothing():
    courses = [_resolved(20), Course(died_on=25), _resolved(70), Course(last_contact=50)]
    one = time_to_resolution(registry_of(*courses)).table
    two = time_to_resolution(registry_of(*courses[::-1])).table
    assert one.equals(two)


def test_collections_are_counted_with_the_patients_that_are():
    result = time_to_resolution(registry_of(_resolved(20, sex="female"), *[_resolved(30)] * 4), by="sex")
    assert (result.population.patients, result.population.collections) == (1, 1)
