import numpy as np
import pandas as pd

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.scan_ranges import middles, never_resolved, scan_ranges
from necrostats.registry.tables import registry_from


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
    ranges = _ranges(registry_from({**registry.tables, "scans": scans}))
    assert (ranges.left.tolist(), ranges.right.tolist()) == ([20], [60])


def test_who_died_counts_as_not_resolved_up_to_the_lock_or_the_horizon():
    registry = registry_of(Course(died_on=40, observed=100), Course(died_on=40), Course(last_contact=70))
    ends = outcomes(registry, DOCUMENTED_RESOLUTION)
    assert never_resolved(registry, ends, 180).tolist()[:2] == [100, 180]
