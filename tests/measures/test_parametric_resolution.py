import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.measures import interval_censored_resolution, parametric_resolution
from necrostats.present import chart, describe, tabulate
from necrostats.stats.parametric_times import parametric_times

LEFT = np.array([8, 11, 15, 18, 22, 26, 31, 37, 44, 52, 61, 73])


def _courses(left=LEFT, gap=14, **about):
    return [Course(scans=[(day, 80), (day + gap, 10)], well_on=[day + gap], about=about) for day in left.tolist()]


def _row(result, variable, group="all"):
    table = result.table
    return table[(table["variable"] == variable) & (table["group"] == group)].iloc[0]


@pytest.mark.parametrize(
    ("shape", "name"), [("log-normal", "interval-censored, log-normal"), ("weibull", "interval-censored, Weibull")]
)
def test_the_medians_of_a_fixed_shape_are_those_of_the_estimator(shape, name):
    row = _row(parametric_resolution(registry_of(*_courses()), replicates=20), name)
    found = parametric_times(LEFT, LEFT + 14.0, shape=shape).median([])
    assert (row["estimate"], row["conf_low"], row["conf_high"]) == pytest.approx(
        (found.estimate, found.low, found.high)
    )
    assert (row["events"], row["n"]) == (12, 12)


def test_the_other_medians_are_those_of_the_curves():
    registry = registry_of(*_courses())
    curves = interval_censored_resolution(registry, replicates=20)
    table = parametric_resolution(registry, replicates=20).table
    assert table["estimate"].tolist()[:3] == curves.medians["estimate"].tolist()


def test_a_patient_who_died_counts_as_not_resolved_up_to_the_lock():
    row = _row(
        parametric_resolution(registry_of(*_courses(), Course(died_on=20, observed=150)), replicates=20),
        "interval-censored, log-normal",
    )
    found = parametric_times([*LEFT, 150], [*(LEFT + 14.0), np.inf]).median([])
    assert row["estimate"] == pytest.approx(found.estimate)


def test_few_patients_get_no_fitted_curve_and_a_note():
    result = parametric_resolution(registry_of(*_courses(LEFT[:8])), replicates=20)
    assert np.isnan(_row(result, "interval-censored, Weibull")["estimate"])
    assert any("no curve of a fixed shape" in note.text for note in result.notes)


@pytest.mark.parametrize("courses", [[Course(last_contact=40)] * 12, _courses(LEFT[:1]), _courses(np.full(12, 30))])
def test_nobody_resolved_one_patient_and_all_alike_give_an_answer(courses):
    result = parametric_resolution(registry_of(*courses), replicates=20)
    assert len(result.table) == 5 and result.notes
    assert chart(result).alt and describe(result) and len(tabulate(result).frame)


def test_the_caution_about_curves_of_a_fixed_shape_is_always_there():
    result = parametric_resolution(registry_of(*_courses()), replicates=20)
    assert any("rise to 1 although not everybody resolves" in note.text for note in result.notes)


def test_groups_stand_beside_each_other():
    result = parametric_resolution(
        registry_of(*_courses(sex="male"), *_courses(LEFT + 40, sex="female")), by="sex", replicates=20
    )
    name = "interval-censored, log-normal"
    assert _row(result, name, "female")["estimate"] > _row(result, name, "male")["estimate"]
    assert _row(result, name, "other")["n"] == 0
