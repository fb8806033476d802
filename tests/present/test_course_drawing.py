from __future__ import annotations

import pandas as pd

from necrostats.present.course_drawing import Section, Sheet, draw
from necrostats.present.course_marks import LOOKS


def _sheet(patients: int, marks=(), counts=None) -> Sheet:
    numbers = tuple(range(1, patients + 1))
    spans = pd.DataFrame({"patient": numbers, "is_course": True, "x": 0.0, "x_to": 90.0})
    drawn = pd.DataFrame(list(marks), columns=["patient", "look", "x", "x_to", "grade"])
    return Sheet(
        sections=(Section(title="Resolved", patients=numbers),), marks=drawn, spans=spans, counts=counts or {},
        until=180, remarks=(),
    )  # fmt: skip


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
