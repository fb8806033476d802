"""How courses end, one rule a test, with a test on each edge."""

from __future__ import annotations

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import _DATED, baseline_mm, collection_outcomes, counts_as_gone, outcomes
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


@pytest.mark.parametrize(("reviewed", "end"), [(-1, "last seen"), (0, "resolved"), (1, "resolved")])
def test_a_review_counts_from_the_day_of_the_index_drainage_on(reviewed, end):
    assert _end(Course(scans=[(20, 5)], well_on=[reviewed]))[0] == end


def test_an_unwell_review_confirms_nothing():
    assert _end(Course(scans=[(60, 10)], unwell_on=[60])) == ("last seen", 180)


def test_the_second_small_scan_counts_when_only_it_is_confirmed():
    assert _end(Course(scans=[(40, 20), (90, 10)], well_on=[100])) == ("resolved", 90)


def test_a_patient_who_dies_unresolved_has_a_competing_end():
    assert _end(Course(scans=[(20, 80)], died_on=33)) == ("death", 33)


def test_death_after_resolution_changes_nothing():
    assert _end(Course(scans=[(20, 5)], well_on=[20], died_on=33)) == ("resolved", 20)


@pytest.mark.parametrize(("died_on", "end"), [(59, ("death", 59)), (60, ("death", 60)), (61, ("resolved", 60))])
def test_death_on_the_day_of_the_confirming_scan_is_death(died_on, end):
    assert _end(Course(scans=[(60, 5)], well_on=[60], died_on=died_on)) == end


@pytest.mark.parametrize(
    ("day", "end"), [(179, ("resolved", 179)), (180, ("resolved", 180)), (181, ("last seen", 180))]
)
def test_resolution_on_the_horizon_day_itself_counts(day, end):
    assert _end(Course(scans=[(day, 5)], well_on=[day], last_contact=300)) == end


@pytest.mark.parametrize(("again", "end"), [(59, "resolved"), (60, "resolved"), (61, "last seen")])
def test_a_necrosectomy_on_the_day_of_the_scan_counts_as_before_it(again, end):
    """The review of day 65 confirms the scan of day 60 unless the patient was treated between the two."""
    assert _end(Course(necrosectomies=[10, again], scans=[(60, 5)], well_on=[65]))[0] == end


def test_the_review_nearest_to_the_scan_decides_whichever_side_it_lies_on():
    assert _end(Course(scans=[(60, 5)], well_on=[50], unwell_on=[65]))[0] == "last seen"
    assert _end(Course(scans=[(60, 5)], well_on=[65], unwell_on=[50]))[0] == "resolved"


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


def _resolved(**course):
    ends = outcomes(registry_of(Course(scans=[(40, 20)], **course)), DOCUMENTED_RESOLUTION)
    return ends.cause[0] == 1


@pytest.mark.parametrize(
    ("reviews", "resolved"),
    [
        ({"well_on": [50], "unwell_on": [41]}, False),
        ({"well_on": [41], "unwell_on": [50]}, True),
        ({"well_on": [12], "unwell_on": [40, 60]}, False),
        ({"well_on": [45], "unwell_on": [35]}, True),
        ({"well_on": [35], "unwell_on": [45]}, False),
        ({"well_on": [40], "unwell_on": [40]}, False),
        ({"well_on": [70]}, True),
        ({"well_on": [71]}, False),
    ],
)
def test_the_nearest_review_decides_of_two_as_near_the_later_and_of_one_day_the_worse(reviews, resolved):
    assert _resolved(**reviews) == resolved


def test_a_review_after_further_treatment_confirms_nothing():
    assert not _resolved(well_on=[65], necrosectomies=[45])
    assert not _resolved(well_on=[65], surgery_on=45)
    assert _resolved(well_on=[65], necrosectomies=[70])
    assert _resolved(well_on=[39], necrosectomies=[45])


def test_a_review_after_further_treatment_does_not_hide_the_nearest_one_without():
    assert _resolved(well_on=[35], unwell_on=[42], necrosectomies=[41])
    assert _resolved(well_on=[35, 42], necrosectomies=[41])
    assert not _resolved(unwell_on=[35], well_on=[42], necrosectomies=[41])
    assert not _resolved(well_on=[9], unwell_on=[42], necrosectomies=[41])


@pytest.mark.parametrize(
    ("course", "unresolved"),
    [
        (Course(), False),
        (Course(scans=[(150, 31)]), True),
        (Course(scans=[(150, 30)]), False),
        (Course(scans=[(0, 90)]), False),
        (Course(unwell_on=[150]), True),
        (Course(well_on=[150]), False),
        (Course(scans=[(150, 30)], unwell_on=[20]), True),
        (Course(scans=[(150, 90)], last_contact=179), False),
        (Course(scans=[(150, 90)], last_contact=180), True),
    ],
)
def test_a_patient_counts_as_unresolved_on_the_horizon_day_only_if_something_shows_it(course, unresolved):
    assert outcomes(registry_of(course), DOCUMENTED_RESOLUTION).at_horizon.tolist() == [unresolved]


def test_a_review_before_the_index_drainage_confirms_nothing():
    ends = outcomes(registry_of(Course(scans=[(10, 20)], well_on=[-5])), DOCUMENTED_RESOLUTION)
    assert ends.cause[0] == 0


def test_one_patient_s_review_says_nothing_of_another():
    ends = outcomes(registry_of(Course(scans=[(40, 20)]), Course(well_on=[40])), DOCUMENTED_RESOLUTION)
    assert ends.cause.tolist() == [0, 0]


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


@pytest.mark.parametrize(("day", "end"), [(-1, ("last seen", 180)), (0, ("surgery", 0)), (1, ("surgery", 1))])
def test_surgery_before_the_index_drainage_is_prior_treatment_and_on_its_day_an_end(day, end):
    assert _end(Course(surgery_on=day)) == end


@pytest.mark.parametrize(("day", "cause"), [(179, 1), (180, 1), (181, 0)])
def test_a_collection_gone_on_the_horizon_day_itself_counts(day, cause):
    assert _ends(Course(scans=[(day, 5)], well_on=[day], last_contact=300)).cause.tolist() == [cause]


@pytest.mark.parametrize(("found", "followed"), [(199, True), (200, False)])
def test_a_collection_found_on_the_last_day_seen_was_not_followed(found, followed):
    assert _ends(Course(late_collection=(found, []), last_contact=200)).followed.tolist() == [True, followed]
