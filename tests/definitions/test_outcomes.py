from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import _DATED, outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION, ResolutionDefinition
from necrostats.registry.codebook import TABLES


def _end(course, definition=DOCUMENTED_RESOLUTION):
    ends = outcomes(registry_of(course), definition)
    cause = "last seen" if ends.cause[0] == 0 else ends.causes[ends.cause[0] - 1]
    return cause, int(ends.day[0])


def test_a_small_scan_with_a_symptom_free_review_within_30_days_is_resolution_on_the_day_of_the_scan():
    assert _end(Course(scans=[(20, 80), (60, 30)], well_on=[85])) == ("resolved", 60)


def test_a_collection_of_31_mm_is_not_resolved():
    assert _end(Course(scans=[(60, 31)], well_on=[60])) == ("last seen", 180)


def test_a_review_31_days_from_the_scan_confirms_nothing():
    assert _end(Course(scans=[(60, 10)], well_on=[91])) == ("last seen", 180)
    assert _end(Course(scans=[(60, 10)], well_on=[29])) == ("last seen", 180)


def test_an_unwell_review_confirms_nothing():
    assert _end(Course(scans=[(60, 10)], unwell_on=[60])) == ("last seen", 180)


def test_the_second_small_scan_counts_when_only_it_is_confirmed():
    assert _end(Course(scans=[(40, 20), (90, 10)], well_on=[100])) == ("resolved", 90)


def test_a_patient_who_dies_unresolved_has_a_competing_end():
    assert _end(Course(scans=[(20, 80)], died_on=33)) == ("death", 33)


def test_death_after_resolution_changes_nothing():
    assert _end(Course(scans=[(20, 5)], well_on=[20], died_on=33)) == ("resolved", 20)


def test_surgery_before_the_scan_is_the_end():
    assert _end(Course(scans=[(60, 5)], well_on=[60], surgery_on=59)) == ("surgery", 59)


def test_a_percutaneous_drain_is_a_failure_or_an_adjunct_as_the_definition_says():
    course = Course(scans=[(60, 5)], well_on=[60], drain_on=30)
    adjunct = ResolutionDefinition(name="adjunct", reference="none", percutaneous_drain="adjunct")
    assert _end(course) == ("percutaneous drain", 30)
    assert _end(course, adjunct) == ("resolved", 60)


def test_a_collection_found_before_the_scan_must_be_small_too():
    course = Course(scans=[(60, 5), (120, 5)], well_on=[60, 120], late_collection=(50, [(60, 90), (120, 20)]))
    assert _end(course) == ("resolved", 120)


def test_a_collection_found_after_resolution_does_not_undo_it():
    assert _end(Course(scans=[(60, 5)], well_on=[60], late_collection=(90, [(90, 70)]))) == ("resolved", 60)


def test_a_late_collection_never_scanned_stays_open():
    assert _end(Course(scans=[(60, 5)], well_on=[60], late_collection=(50, []))) == ("last seen", 180)


def test_a_collection_that_grew_again_before_the_confirmed_scan_is_not_resolved_by_the_old_one():
    assert _end(Course(scans=[(30, 20), (60, 50)], well_on=[75])) == ("last seen", 180)


def test_two_scans_of_one_day_that_disagree_leave_the_collection_open():
    assert _end(Course(scans=[(60, 20), (60, 50)], well_on=[60])) == ("last seen", 180)


def test_resolution_after_the_horizon_is_not_counted():
    assert _end(Course(scans=[(181, 5)], well_on=[181])) == ("last seen", 180)


def test_a_patient_lost_early_is_censored_at_the_last_contact():
    assert _end(Course(scans=[(20, 80)], last_contact=45)) == ("last seen", 45)


def test_a_baseline_scan_cannot_resolve():
    assert _end(Course(scans=[(-3, 10), (0, 10)], well_on=[0])) == ("last seen", 180)


def test_patients_are_kept_apart():
    ends = outcomes(
        registry_of(Course(scans=[(60, 5)]), Course(well_on=[60]), Course(scans=[(9, 0)], well_on=[9])),
        DOCUMENTED_RESOLUTION,
    )
    assert ends.cause.tolist() == [0, 0, 1]


def test_a_scan_without_a_size_documents_nothing_and_is_counted():
    ends = outcomes(registry_of(Course(scans=[(60, float("nan"))], well_on=[60])), DOCUMENTED_RESOLUTION)
    assert ends.cause.tolist() == [0]
    assert ends.unsized_scans == 1


def test_a_registry_of_nobody_has_no_ends():
    registry = registry_of(Course())
    assert outcomes(registry.select([False]), DOCUMENTED_RESOLUTION).day.size == 0


def test_a_drain_before_the_index_drainage_is_prior_treatment_and_no_failure():
    assert _end(Course(drain_on=-10, scans=[(40, 20)], well_on=[40])) == ("resolved", 40)


def test_a_patient_scanned_after_the_last_contact_day_was_seen_until_that_scan():
    courses = [Course(scans=[(60, 80)], last_contact=10), Course(scans=[(60, 5)], well_on=[60], last_contact=10)]
    ends = outcomes(registry_of(*courses), DOCUMENTED_RESOLUTION)
    assert ends.day.tolist() == [60, 60]
    assert ends.seen_later == 2


def test_every_day_that_a_record_can_hold_counts_as_a_contact():
    """The finding on days after the last contact promises "seen until this day"."""
    held = {(name, column.name) for name, table in TABLES.items() for column in table.columns if column.kind == "day"}
    assert set(_DATED) == {each for each in held if each[0] != "patients"}


def test_a_collection_found_after_the_last_contact_day_was_seen_then():
    ends = outcomes(registry_of(Course(last_contact=10, late_collection=(60, []))), DOCUMENTED_RESOLUTION)
    assert (ends.day.tolist(), ends.seen_later) == ([60], 1)
