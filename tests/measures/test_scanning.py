import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.measures import scan_schedule, time_to_resolution
from necrostats.present import chart, describe


def _scanned(gap, sex, truth):
    """Scanned every so many days until the first scan after the true day of resolution, well at each."""
    days = list(range(gap, truth + gap + 1, gap))
    first = next(day for day in days if day >= truth)
    scans = [(day, 10 if day >= truth else 80) for day in days if day <= first]
    return Course(scans=scans, well_on=[first], about={"sex": sex}, last_contact=400)


def test_gaps_worked_by_hand():
    """10, 20, 30 in one, 40 in the other: median 25, quartiles 17.5 and 32.5."""
    result = scan_schedule(registry_of(Course(scans=[(10, 80), (30, 70), (60, 60)]), Course(scans=[(40, 80)])))
    row = result.table.iloc[0]
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
    assert result.table["estimate"].isna().all()
    assert chart(result).alt and describe(result)


def test_groups_with_nobody_stay():
    result = scan_schedule(registry_of(Course(scans=[(10, 80)], about={"sex": "male"})), by="sex")
    assert result.table["n"].tolist() == [0, 1, 0]
    assert result.table["estimate"].iloc[1] == pytest.approx(10)
