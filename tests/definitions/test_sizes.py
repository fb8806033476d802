import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import ResolutionDefinition
from necrostats.definitions.sizes import baseline_mm, counts_as_gone

HALF = ResolutionDefinition(name="half", size_mm=None, share_of_baseline=0.5, symptom_free=False)
BELOW = ResolutionDefinition(
    name="below half and 50", size_mm=50, share_of_baseline=0.5, strictly_below=True, symptom_free=False
)


def _day(course, definition):
    ends = outcomes(registry_of(course), definition)
    return int(ends.day[0]) if ends.cause[0] == 1 else None


def test_the_baseline_is_the_size_recorded_of_the_collection():
    registry = registry_of(Course(index={"long_mm": 120}, scans=[(-3, 100), (20, 60)]))
    assert baseline_mm(registry).tolist() == [120]


def test_without_it_the_last_scan_up_to_the_index_drainage_is():
    assert baseline_mm(registry_of(Course(scans=[(-9, 90), (0, 100), (1, 40)]))).tolist() == [100]


def test_two_scans_of_that_day_that_disagree_give_the_larger():
    assert baseline_mm(registry_of(Course(scans=[(0, 80), (0, 110)]))).tolist() == [110]


def test_without_any_scan_up_to_then_it_is_not_known():
    assert np.isnan(baseline_mm(registry_of(Course(scans=[(20, 60)])))).all()


def test_a_collection_found_later_starts_from_the_scan_that_first_showed_its_size():
    registry = registry_of(Course(scans=[(0, 100)], late_collection=(40, [(40, 80), (70, 30)])))
    assert baseline_mm(registry).tolist() == [100, 80]


def test_half_of_baseline_is_at_most_half():
    assert _day(Course(scans=[(0, 100), (20, 51), (30, 50)]), HALF) == 30


def test_strictly_below_means_below_both():
    """Below 50 mm and below half of 90 mm: 45 is not, 44 is; of 200 mm 50 is not, 49 is."""
    assert _day(Course(scans=[(0, 90), (20, 45), (30, 44)]), BELOW) == 30
    assert _day(Course(scans=[(0, 200), (20, 50), (30, 49)]), BELOW) == 30


def test_a_collection_of_unknown_size_at_baseline_is_never_shown_to_be_halved_and_is_counted():
    registry = registry_of(Course(scans=[(20, 5)]))
    ends = outcomes(registry, HALF)
    assert ends.cause.tolist() == [0]
    assert ends.without_baseline == 1
    assert outcomes(registry, ResolutionDefinition(name="x", symptom_free=False)).without_baseline == 0


def test_a_scan_without_a_size_shows_nothing():
    assert counts_as_gone(registry_of(Course(scans=[(0, 90), (20, None)])), HALF).tolist() == [False, False]


@pytest.mark.parametrize(("size", "strictly", "gone"), [(30, False, True), (30, True, False), (29.5, True, True)])
def test_the_limit_itself_counts_only_when_it_may(size, strictly, gone):
    definition = ResolutionDefinition(name="x", strictly_below=strictly)
    assert counts_as_gone(registry_of(Course(scans=[(20, size)])), definition).tolist() == [gone]
