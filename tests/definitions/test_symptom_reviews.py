import pytest

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION


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


def test_a_review_before_the_index_drainage_confirms_nothing():
    ends = outcomes(registry_of(Course(scans=[(10, 20)], well_on=[-5])), DOCUMENTED_RESOLUTION)
    assert ends.cause[0] == 0


def test_one_patient_s_review_says_nothing_of_another():
    ends = outcomes(registry_of(Course(scans=[(40, 20)]), Course(well_on=[40])), DOCUMENTED_RESOLUTION)
    assert ends.cause.tolist() == [0, 0]
