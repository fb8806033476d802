from __future__ import annotations

import pandas as pd

from builders.courses import Course, registry_of
from necrostats.definitions.outcomes import outcomes
from necrostats.definitions.resolution import DOCUMENTED_RESOLUTION
from necrostats.measures.course_records import KINDS, records


def _records(*courses: Course) -> pd.DataFrame:
    registry = registry_of(*courses)
    return records(registry, outcomes(registry, DOCUMENTED_RESOLUTION))


def test_a_record_has_a_kind_a_day_and_its_patient():
    rows = _records(Course(), Course(surgery_on=9))
    surgery = rows[rows["what"] == "surgery"].iloc[0]
    assert (surgery["position"], surgery["day"], surgery["detail"]) == (1, 9, "surgical_necrosectomy")
    assert list(rows["what"].cat.categories) == list(KINDS)
    assert pd.isna(surgery["day_to"])


def test_only_resolution_that_ended_the_course_is_a_resolution():
    after_surgery = Course(surgery_on=20, scans=[(40, 5.0)], well_on=[40])
    assert "resolved" not in set(_records(after_surgery)["what"])
    assert set(_records(Course(scans=[(40, 5.0)], well_on=[40]))["what"]) >= {"resolved", "course", "follow-up"}
