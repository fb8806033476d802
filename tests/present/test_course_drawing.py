from __future__ import annotations

import pandas as pd
import pytest

from builders.courses import Course, registry_of
from builders.many_courses import many_courses, with_tables
from necrostats.measures import patient_courses
from necrostats.present.course_drawing import LOOKS, Section, Sheet, draw, marks, spans, undrawn
from necrostats.present.style import STYLES


def _sheet(patients: int, marks=(), counts=None) -> Sheet:
    numbers = tuple(range(1, patients + 1))
    spans = pd.DataFrame({"patient": numbers, "is_course": True, "x": 0.0, "x_to": 90.0})
    drawn = pd.DataFrame(list(marks), columns=["patient", "look", "x", "x_to", "grade"])
    return Sheet(
        sections=(Section(title="Resolved", patients=numbers),),
        marks=drawn,
        spans=spans,
        counts=counts or {},
        until=180,
        remarks=(),
    )


def _written(sheet: Sheet, width: float = 7.0) -> list[str]:
    drawing = draw(sheet, width)
    return [text.get_text() for axes in drawing.axes for text in axes.texts]


def test_grades_are_written_where_there_is_room_and_near_ones_share_a_label():
    events = [(1, "serious", 3.0, None, "IIIa"), (1, "milder", 5.0, None, "II"), (1, "milder", 90.0, None, "I")]
    assert _written(_sheet(3, events)) == ["IIIa, II", "I"]
    assert _written(_sheet(80, events)) == []


def test_every_patient_has_a_number_where_there_is_room_and_every_fifth_elsewhere():
    few = {text.get_text() for text in draw(_sheet(12), 7.0).texts}
    assert {str(number) for number in range(1, 13)} <= few
    many = {text.get_text() for text in draw(_sheet(150), 7.0).texts}
    assert {"1", "5", "50", "150"} <= many
    assert "2" not in many


def test_rows_get_thinner_so_that_a_full_page_stays_a_page():
    heights = {number: draw(_sheet(number), 7.0).get_size_inches()[1] for number in (1, 20, 50, 100, 160)}
    assert max(heights.values()) < 11
    assert heights[1] < heights[20] < heights[50]
    assert heights[160] - heights[1] < 80 * (heights[20] - heights[1]) / 19


def test_the_key_breaks_into_lines_that_stay_on_the_sheet():
    sheet = draw(_sheet(3, counts=dict.fromkeys(LOOKS, 1000)), 3.35)
    boxes = [text.get_window_extent(sheet.canvas.get_renderer()) for text in sheet.texts]
    assert max(box.x1 for box in boxes) <= sheet.bbox.x1 + 1
    assert sum("(1,000)" in text.get_text() for text in sheet.texts) == len(LOOKS)


def test_every_look_can_be_drawn():
    events = [(1, name, 10.0, 20.0, None) for name in LOOKS]
    drawing = draw(_sheet(1, events, dict.fromkeys(LOOKS, 1)), 7.0)
    block = drawing.axes[-1]
    markers = {line.get_marker() for line in block.lines}
    assert markers == {look.marker for look in LOOKS.values() if look.marker}


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
