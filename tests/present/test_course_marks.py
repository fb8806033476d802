from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import many_courses, with_tables
from necrostats.measures import patient_courses
from necrostats.present.course_marks import LOOKS, marks, spans, undrawn
from necrostats.present.style import STYLES


def _marks(*courses: Course, until: int = 180) -> pd.DataFrame:
    return marks(patient_courses(registry_of(*courses)), until)


def test_no_two_looks_are_told_apart_by_colour_alone():
    shapes = [(look.marker, look.filled, look.lane, look.bar, str(look.dashes)) for look in LOOKS.values()]
    assert len(set(shapes)) == len(LOOKS)


def test_every_colour_is_of_the_palette_or_ink():
    assert {look.colour for look in LOOKS.values()} <= {style.colour for style in STYLES} | {"#1A1A1A"}


GRADED = [("IIIa", "serious"), ("V", "serious"), ("II", "milder"), (None, "ungraded")]


@pytest.mark.parametrize(("grade", "look"), GRADED)
def test_an_event_looks_as_grave_as_its_grade(grade, look):
    registry = registry_of(Course(events=[(9, "bleeding")]))
    graded = with_tables(registry, adverse_events=registry.adverse_events.assign(agree_grade=grade))
    drawn = marks(patient_courses(graded), 180)
    assert drawn.loc[drawn["x"] == 9, "look"].tolist() == [look]


def test_a_course_without_an_end_has_an_arrow_at_its_last_day():
    going_on, lost = Course(last_contact=50, observed=60), Course(last_contact=40, observed=900)
    drawn = _marks(going_on, lost)
    found = drawn[drawn["look"].isin(["open", "lost"])]
    assert found[["look", "x"]].to_numpy().tolist() == [["open", 50.0], ["lost", 40.0]]


def test_a_course_unresolved_at_the_horizon_has_its_arrow_there():
    drawn = _marks(Course(last_contact=300, observed=400))
    assert drawn.loc[drawn["look"] == "open", "x"].tolist() == [180.0]


def test_a_course_that_ended_has_no_arrow():
    assert not _marks(Course(died_on=4))["look"].isin(["open", "lost"]).any()


def test_bars_and_lines_stop_at_the_last_day_drawn():
    rows = [{"stent_id": "A", "patient_id": "P1", "stent_type": "double_pigtail", "placed_day": 3, "removed_day": 290}]
    result = patient_courses(with_tables(registry_of(Course(last_contact=300)), stents=rows))
    stent = marks(result, 180)
    assert stent.loc[stent["look"] == "plastic", ["x", "x_to"]].to_numpy().tolist() == [[3, 180]]
    assert spans(result, 180)["x_to"].max() == 180


def test_a_stent_is_metal_plastic_or_of_unknown_end():
    looks = marks(patient_courses(many_courses(4)), 180)["look"].value_counts()
    assert looks["metal"] == 4
    assert looks["unknown end"] == 2


def test_what_is_not_drawn_is_counted_for_the_patients_asked_about():
    result = patient_courses(registry_of(Course(scans=[(-4, 50.0), (200, 9.0)]), Course(scans=[(-1, 40.0)])))
    assert undrawn(result, [1, 2], 180) == (2, 1)
    assert sum(undrawn(result, [1], 180)) + sum(undrawn(result, [2], 180)) == 3
