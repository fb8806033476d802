from builders.courses import Course, registry_of
from necrostats.definitions.collection_outcomes import collection_outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition


def _ends(*courses, definition=DOCUMENTED_RESOLUTION):
    return collection_outcomes(registry_of(*courses), definition)


def test_each_collection_ends_by_itself():
    course = Course(scans=[(40, 10), (90, 10)], well_on=[40, 90], late_collection=(0, [(40, 60), (90, 12)]))
    ends = _ends(course)
    assert (ends.days.tolist(), ends.cause.tolist(), ends.patient.tolist()) == ([40, 90], [1, 1], [0, 0])


def test_a_collection_found_later_counts_from_the_day_it_was_found():
    ends = _ends(Course(scans=[(40, 10)], well_on=[40, 100], late_collection=(60, [(60, 80), (100, 8)])))
    assert (ends.start.tolist(), ends.days.tolist()) == ([0, 60], [40, 40])


def test_the_death_of_the_patient_ends_the_collections_that_are_left():
    ends = _ends(Course(scans=[(20, 10)], well_on=[20], late_collection=(0, [(20, 60)]), died_on=50))
    assert (ends.days.tolist(), ends.cause.tolist()) == ([20, 50], [1, 2])


def test_a_clear_scan_without_a_symptom_free_review_documents_nothing_unless_none_is_asked():
    course = Course(scans=[(20, 10)], last_contact=70)
    assert _ends(course).cause.tolist() == [0]
    size_only = ResolutionDefinition(name="size only", symptom_free=False)
    assert (_ends(course, definition=size_only).days.tolist()) == [20]


def test_the_horizon_runs_from_the_start_of_the_collection():
    late = (100, [(100, 80), (250, 5)])
    ends = _ends(Course(scans=[(200, 10)], well_on=[200, 250], late_collection=late, last_contact=300))
    assert (ends.days.tolist(), ends.cause.tolist()) == ([180, 150], [0, 1])


def test_a_collection_found_on_the_last_day_is_not_followed():
    ends = _ends(Course(last_contact=50, late_collection=(50, [(50, 60)])))
    assert ends.followed.tolist() == [True, False]


def test_no_collections_give_no_ends():
    assert _ends().days.size == 0
