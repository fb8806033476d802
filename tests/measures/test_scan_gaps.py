import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.grouping import Grouping
from necrostats.measures.scan_gaps import gap_quartiles, imbalance, scan_gaps


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
