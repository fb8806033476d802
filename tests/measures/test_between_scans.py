"""What two scans say of the day of resolution between them, by five routes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.errors import DesignError
from necrostats.measures import interval_censored_resolution, parametric_resolution, time_to_resolution
from necrostats.measures.between_scans import BETWEEN, DOCUMENTED, MIDDLE, middles, never_resolved, scan_ranges
from necrostats.present import chart, table, words
from necrostats.present.curves import _boxes, _curve
from necrostats.present.style import style_at
from necrostats.registry.tables import registry_from
from necrostats.stats.parametric_times import parametric_times


def _between(left, right, **about):
    return Course(scans=[(left, 80), (right, 10)], well_on=[right], about=about)


def _at(result, day, cause, group="all"):
    table = result.frame
    return table[(table["days"] == day) & (table["cause"] == cause) & (table["group"] == group)].iloc[0]


def _run(*courses, days=(30, 60, 90, 180), replicates=40, **more):
    return interval_censored_resolution(registry_of(*courses), days=days, replicates=replicates, **more)


def test_four_ranges_worked_by_hand():
    """Within (10, 20], (15, 30], (25, 40] and after 40: innermost (15, 20], (25, 30] and beyond 40.

    With masses a on (15, 20], b on (25, 30] and c beyond 40 the likelihood is a (a + b) b c: a = b = 3/8, c = 1/4.
    """
    result = _run(
        _between(10, 20),
        _between(15, 30),
        _between(25, 40),
        Course(scans=[(40, 60)], last_contact=40),
        days=(20, 27, 30),
    )
    assert _at(result, 20, BETWEEN)["estimate"] == pytest.approx(3 / 8, abs=1e-6)
    assert _at(result, 30, BETWEEN)["estimate"] == pytest.approx(3 / 4, abs=1e-6)
    inside = _at(result, 27, BETWEEN)
    assert (inside["least"], inside["most"]) == pytest.approx((3 / 8, 3 / 4), abs=1e-6)
    assert inside["estimate"] == pytest.approx(9 / 16, abs=1e-6)


def test_the_mid_point_is_half_way_and_the_documented_day_the_scan():
    result = _run(_between(10, 20), _between(15, 30), days=(15, 20, 23))
    assert [_at(result, day, MIDDLE)["estimate"] for day in (15, 20, 23)] == [0.5, 0.5, 1]
    assert [_at(result, day, DOCUMENTED)["estimate"] for day in (15, 20, 23)] == [0, 0.5, 0.5]


def test_the_documented_curve_is_that_of_time_to_resolution():
    courses = [_between(number, number + 12) for number in range(8, 60, 4)] + [
        Course(died_on=33),
        Course(last_contact=50),
    ]
    ours = _run(*courses)
    theirs = time_to_resolution(registry_of(*courses)).frame.query("cause == 'resolved'")
    mine = ours.frame.query("cause == 'resolved'")
    assert np.array_equal(mine["estimate"], theirs["estimate"], equal_nan=True)
    assert np.array_equal(mine["low"], theirs["low"], equal_nan=True)


def test_daily_scans_make_the_interval_censored_curve_the_documented_one():
    courses = [_between(day - 1, day) for day in range(10, 110, 5)]
    result = _run(*courses, days=(30, 60, 90))
    for day in (30, 60, 90):
        assert _at(result, day, BETWEEN)["estimate"] == pytest.approx(
            _at(result, day, DOCUMENTED)["estimate"], abs=1e-6
        )


def test_a_patient_who_dies_unresolved_competes_in_all_three():
    """Ten of twenty die on day 15 unresolved: no more than half can ever be resolved, however it is dated."""
    courses = [_between(19, 20) for _ in range(10)] + [Course(scans=[(10, 80)], died_on=15) for _ in range(10)]
    result = _run(*courses)
    assert [_at(result, 90, way)["estimate"] for way in (DOCUMENTED, MIDDLE, BETWEEN)] == pytest.approx([0.5] * 3)


def test_the_band_holds_the_estimate_and_comes_again_with_the_same_seed():
    courses = [_between(number, number + 14) for number in range(8, 80, 3)]
    one, two = _run(*courses), _run(*courses)
    row = _at(one, 60, BETWEEN)
    assert row["low"] <= row["least"] <= row["most"] <= row["high"]
    assert row["high"] > row["low"]
    assert one.frame.equals(two.frame)
    assert not one.frame.equals(_run(*courses, seed=5).frame)


def test_medians_are_given_for_every_way_and_come_earlier_than_the_scan():
    courses = [_between(number, number + 20) for number in range(8, 80, 3)]
    middle = _run(*courses).medians.set_index("cause")
    assert middle.loc[MIDDLE, "estimate"] == middle.loc[DOCUMENTED, "estimate"] - 10
    assert middle.loc[BETWEEN, "low"] <= middle.loc[BETWEEN, "estimate"] <= middle.loc[BETWEEN, "high"]
    assert middle.loc[BETWEEN, "estimate"] < middle.loc[DOCUMENTED, "estimate"]


def test_groups_keep_their_own_curves_and_an_empty_one_stays():
    courses = [_between(number, number + 10, sex="male") for number in range(8, 60, 4)]
    courses += [_between(number, number + 10, sex="female") for number in range(60, 120, 4)]
    result = _run(*courses, by="sex")
    assert _at(result, 60, BETWEEN, "male")["estimate"] > 0.9 > _at(result, 60, BETWEEN, "female")["estimate"]
    assert np.isnan(_at(result, 60, BETWEEN, "other")["estimate"])
    assert chart(result).alt and table(result).frame.shape[0] and words(result)


@pytest.mark.parametrize(
    "courses", [[_between(10, 20)], [Course(last_contact=50)] * 12, [Course(died_on=9)] * 12, [_between(10, 20)] * 12]
)
def test_one_patient_nobody_resolved_and_all_at_once_give_an_answer(courses):
    result = _run(*courses)
    assert len(result.frame) and "INTERVAL_CENSORED" in {note.code for note in result.notes}
    assert chart(result).alt and words(result)


def test_fewer_than_ten_patients_have_no_band_and_a_note():
    result = _run(*[_between(number, number + 14) for number in range(8, 40, 5)])
    assert np.isnan(_at(result, 60, BETWEEN)["low"])
    assert any("no bootstrap band" in note.text for note in result.notes)


def test_the_cautions_name_how_wide_the_ranges_are_and_who_never_resolved():
    result = _run(*[_between(number, number + 14) for number in range(8, 40, 3)], Course(died_on=20))
    texts = " ".join(note.text for note in result.notes)
    assert "half of the time 14 days or more apart" in texts
    assert "1 patient died, went on to surgery or ended otherwise" in texts


def test_what_is_shown_says_how_each_share_is_dated():
    said = words(_run(*[_between(number, number + 14) for number in range(8, 80, 3)]))
    assert "had resolved by the interval-censored estimate" in said
    assert "had resolved if dated half-way between the two scans" in said


def test_something_known_only_later_is_refused_as_a_group():
    with pytest.raises(DesignError, match="immortal time"):
        _run(_between(10, 20), by="instrument_class")


def test_where_everybody_resolved_between_the_same_scans_the_median_has_both_limits():
    """All 12 within (10, 20]: half are resolved by day 20 for certain, though there is no band at 12 of 12."""
    middle = _run(*[_between(10, 20)] * 12, replicates=200).medians.set_index("cause").loc[BETWEEN]
    assert (middle["estimate"], middle["low"], middle["high"]) == (15, 11, 20)


def test_fewer_than_ten_have_no_limits_of_the_median_even_so():
    middle = _run(*[_between(10, 20)] * 9).medians.set_index("cause").loc[BETWEEN]
    assert middle["estimate"] == 15 and np.isnan([middle["low"], middle["high"]]).all()


def test_the_method_says_where_there_is_no_band():
    assert "the exact limit where nobody or everybody has resolved" in _run(_between(10, 20)).method.interval


@pytest.mark.parametrize("patients", [1, 9, 12])
def test_while_nobody_has_resolved_and_once_all_have_the_limit_is_exact(patients):
    """Clopper–Pearson of 0 and of n of n: 1 − 0.025^(1 / n) and 0.025^(1 / n)."""
    result, most = _run(*[_between(10, 20)] * patients), 1 - 0.025 ** (1 / patients)
    before, after = _at(result, 5, BETWEEN), _at(result, 20, BETWEEN)
    assert (before["low"], before["high"]) == pytest.approx((0, most))
    assert (after["low"], after["high"]) == pytest.approx((1 - most, 1))


LEFT = np.array([8, 11, 15, 18, 22, 26, 31, 37, 44, 52, 61, 73])


def _courses(left=LEFT, gap=14, **about):
    return [Course(scans=[(day, 80), (day + gap, 10)], well_on=[day + gap], about=about) for day in left.tolist()]


def _row(result, variable, group="all"):
    table = result.frame
    return table[(table["variable"] == variable) & (table["group"] == group)].iloc[0]


@pytest.mark.parametrize(
    ("shape", "name"), [("log-normal", "interval-censored, log-normal"), ("weibull", "interval-censored, Weibull")]
)
def test_the_medians_of_a_fixed_shape_are_those_of_the_estimator(shape, name):
    row = _row(parametric_resolution(registry_of(*_courses()), replicates=20), name)
    found = parametric_times(LEFT, LEFT + 14.0, shape=shape).median([])
    assert (row["estimate"], row["low"], row["high"]) == pytest.approx((found.estimate, found.low, found.high))
    assert (row["events"], row["n"]) == (12, 12)


def test_the_other_medians_are_those_of_the_curves():
    registry = registry_of(*_courses())
    curves = interval_censored_resolution(registry, replicates=20)
    table = parametric_resolution(registry, replicates=20).frame
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
    assert len(result.frame) == 5 and result.notes
    assert chart(result).alt and words(result) and len(table(result).frame)


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


def _ranges(registry):
    return scan_ranges(registry, outcomes(registry, DOCUMENTED_RESOLUTION), DOCUMENTED_RESOLUTION)


def test_resolution_lies_between_the_last_scan_with_a_collection_and_the_scan_without():
    ranges = _ranges(registry_of(Course(scans=[(10, 90), (31, 50), (50, 12), (80, 0)], well_on=[50])))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([31], [50])
    assert middles(ranges).tolist() == [41]


def test_without_an_earlier_scan_it_lies_between_the_index_drainage_and_the_scan():
    ranges = _ranges(registry_of(Course(scans=[(-3, 120), (50, 12)], well_on=[50])))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([0], [50])


def test_a_scan_that_is_clear_but_not_confirmed_by_a_review_narrows_nothing():
    ranges = _ranges(registry_of(Course(scans=[(20, 80), (40, 10), (90, 10)], well_on=[90])))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([20], [90])


def test_a_review_with_symptoms_moves_the_left_end_as_a_scan_does():
    course = Course(scans=[(20, 80), (50, 12)], unwell_on=[35], well_on=[50])
    assert _ranges(registry_of(course)).left.tolist() == [35]
    assert _ranges(registry_of(Course(scans=[(20, 80)], unwell_on=[35], last_contact=90))).left.tolist() == [35]


@pytest.mark.parametrize(("day", "left"), ((49, 49), (60, 20)))
def test_a_review_with_symptoms_counts_only_before_the_scan_that_documented_resolution(day, left):
    course = Course(scans=[(20, 80), (50, 12)], unwell_on=[day], well_on=[50])
    ranges = _ranges(registry_of(course))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([left], [50])


def test_where_symptoms_do_not_matter_a_review_moves_nothing():
    registry = registry_of(Course(scans=[(20, 80), (50, 12)], unwell_on=[35]))
    sized = replace(DOCUMENTED_RESOLUTION, symptom_free=False)
    assert scan_ranges(registry, outcomes(registry, sized), sized).left.tolist() == [20]


def test_a_stretch_that_cannot_be_told_apart_is_a_box_and_no_line():
    """All within (10, 30]: at 10 nobody, at 30 everybody, and between them anything."""
    courses = [Course(scans=[(10, 80), (30, 12)], well_on=[30])] * 12
    result = interval_censored_resolution(registry_of(*courses), replicates=20)
    rows = result.frame[result.frame["cause"] == BETWEEN]
    assert _boxes(rows, "days") == ((11.0, 30.0, 0.0, 1.0),)
    drawn = _curve(rows, rows, result, "", style_at(0), True)
    inside = [math.isnan(y) for x, y in zip(drawn.x, drawn.y, strict=True) if 10 < x < 30]
    assert len(inside) == 19 and all(inside)
    assert "box" in result.method.estimator


def test_a_scan_of_unknown_size_narrows_nothing():
    ranges = _ranges(registry_of(Course(scans=[(20, 80), (40, np.nan), (60, 10)], well_on=[60])))
    assert ranges.left.tolist() == [20]


def test_who_is_last_seen_unresolved_is_known_to_be_so_at_the_last_scan_only():
    ranges = _ranges(registry_of(Course(scans=[(20, 80)], last_contact=90), Course(last_contact=90)))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([20, 0], [np.inf, np.inf])
    assert ranges.unscanned == 1


def test_another_collection_still_seen_keeps_the_range_from_ending():
    course = Course(scans=[(20, 80), (40, 10), (70, 10)], well_on=[70], late_collection=(30, [(45, 60), (70, 12)]))
    ranges = _ranges(registry_of(course))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([45], [70])


def test_a_scan_dated_to_a_range_counts_at_its_earliest_on_the_left_and_its_latest_on_the_right():
    registry = registry_of(Course(scans=[(20, 80), (50, 10)], well_on=[55]))
    scans = registry.scans.assign(day_latest=pd.array([30, 60], dtype="Int64"))
    ranges = _ranges(registry_from({**registry.tables, "scans": scans}, recorded=registry.recorded))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([20], [60])


def test_who_died_counts_as_not_resolved_up_to_the_lock_or_the_horizon():
    registry = registry_of(Course(died_on=40, observed=100), Course(died_on=40), Course(last_contact=70))
    ends = outcomes(registry, DOCUMENTED_RESOLUTION)
    assert never_resolved(registry, ends, 180).tolist()[:2] == [100, 180]


@pytest.mark.parametrize(("patients", "few"), [(9, True), (10, False), (11, False)])
def test_a_curve_of_a_fixed_shape_needs_ten_patients(patients, few):
    result = parametric_resolution(registry_of(*_courses(LEFT[:patients])), replicates=20)
    assert np.isnan(_row(result, "interval-censored, log-normal")["estimate"]) == few
