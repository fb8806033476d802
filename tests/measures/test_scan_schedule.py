from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures import scan_schedule, time_to_resolution
from necrostats.measures.grouping import Grouping
from necrostats.measures.scan_schedule import gap_quartiles, imbalance, scan_gaps
from necrostats.present import chart, words


def _scanned(gap, sex, truth):
    """Scanned every so many days until the first scan after the true day of resolution, well at each."""
    days = list(range(gap, truth + gap + 1, gap))
    first = next(day for day in days if day >= truth)
    scans = [(day, 10 if day >= truth else 80) for day in days if day <= first]
    return Course(scans=scans, well_on=[first], about={"sex": sex}, last_contact=400)


def test_gaps_worked_by_hand():
    """10, 20, 30 in one, 40 in the other: median 25, quartiles 17.5 and 32.5."""
    result = scan_schedule(registry_of(Course(scans=[(10, 80), (30, 70), (60, 60)]), Course(scans=[(40, 80)])))
    row = result.frame.iloc[0]
    assert row[["low", "estimate", "high"]].tolist() == [17.5, 25, 32.5]
    assert row[["n", "patients"]].tolist() == [4, 2]


def test_a_patient_never_scanned_is_left_out_and_counted():
    result = scan_schedule(registry_of(Course(scans=[(10, 80)]), Course()))
    assert result.population.patients == 1
    assert result.population.left_out["patients without a scan while under treatment"] == 1


def test_the_same_truth_scanned_at_14_and_at_42_days_is_dated_later_and_the_note_says_so():
    """The documented days differ although the true ones are the same."""
    draw = np.random.default_rng(20240304)
    truths = draw.integers(20, 110, 60)
    courses = [_scanned(gap, sex, int(t)) for gap, sex in ((14, "female"), (42, "male")) for t in truths]
    registry = registry_of(*courses)
    curve = time_to_resolution(registry, by="sex")
    medians = curve.medians[curve.medians["cause"] == "resolved"].set_index("group")["estimate"]
    assert medians["male"] > medians["female"]
    for result in (scan_schedule(registry, by="sex"), curve):
        note = next(note for note in result.notes if note.code == "SCAN_GAP_IMBALANCE")
        assert "3.0 times as far apart in male (median 42 days) as in female (14 days)" in note.text


def test_equal_schedules_give_no_note():
    courses = [_scanned(14, sex, 50) for sex in ("female", "male")]
    assert scan_schedule(registry_of(*courses), by="sex").notes == ()


def test_nobody_gives_an_empty_answer_and_no_error():
    result = scan_schedule(registry_of(Course(scans=[(10, 80)])).select([False]), by="sex")
    assert result.frame["estimate"].isna().all()
    assert chart(result).alt and words(result)


def test_groups_with_nobody_stay():
    result = scan_schedule(registry_of(Course(scans=[(10, 80)], about={"sex": "male"})), by="sex")
    assert result.frame["n"].tolist() == [0, 1, 0]
    assert result.frame["estimate"].iloc[1] == pytest.approx(10)


def _gaps(*courses):
    registry = registry_of(*courses)
    return scan_gaps(registry, outcomes(registry, DOCUMENTED_RESOLUTION))


def test_gaps_run_from_the_index_drainage_and_from_scan_to_scan():
    assert _gaps(Course(scans=[(-5, 90), (0, 90), (14, 80), (42, 60)])).days.tolist() == [14, 28]


def test_two_collections_on_one_scan_day_are_one_scan():
    course = Course(scans=[(14, 80), (30, 70)], late_collection=(20, [(30, 50)]))
    assert _gaps(course).days.tolist() == [14, 16]


def test_scans_after_the_end_of_the_course_do_not_count():
    assert _gaps(Course(scans=[(14, 80), (30, 10), (90, 5)], well_on=[30])).days.tolist() == [14, 16]


def test_patients_are_kept_apart_whatever_the_order_of_their_rows():
    gaps = _gaps(Course(scans=[(40, 80), (10, 90)]), Course(), Course(scans=[(21, 80)]))
    assert gaps.patient.tolist() == [0, 0, 2]
    assert gaps.days.tolist() == [10, 30, 21]


def test_nobody_has_none():
    registry = registry_of(Course(scans=[(14, 80)])).select([False])
    assert scan_gaps(registry, outcomes(registry, DOCUMENTED_RESOLUTION)).days.size == 0


def test_the_ratio_of_medians_is_said_only_above_1_2():
    labels = ("a", "b", "c")
    quartiles = np.array([[10, 14, 20], [30, 42, 50], [np.nan] * 3])
    (note,) = imbalance(quartiles, labels)
    assert note.code == "SCAN_GAP_IMBALANCE"
    assert "3.0 times as far apart in b (median 42 days) as in a (14 days)" in note.text
    assert imbalance(np.array([[0, 10, 0], [0, 12, 0]]), labels) == ()
    assert imbalance(quartiles[:1], labels) == ()


def test_quartiles_by_group_pass_over_those_without_one():
    gaps = _gaps(Course(scans=[(10, 80)]), Course(scans=[(20, 80)]), Course(scans=[(70, 80)]))
    found = gap_quartiles(gaps, Grouping(labels=("a", "b"), codes=np.array([0, 0, -1])))
    assert found[0] == pytest.approx([12.5, 15, 17.5])
    assert np.isnan(found[1]).all()
