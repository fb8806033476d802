from __future__ import annotations

import hashlib
from dataclasses import replace

import matplotlib
import pytest

from builders.courses import Course, registry_of
from builders.html import parsed, table_of
from builders.many_courses import many_courses, with_tables
from necrostats.errors import ChoiceError
from necrostats.measures import patient_courses
from necrostats.present import chart, table, words
from necrostats.present.courses import course_lines, heading

ONE = Course(scans=[(30, 70.0), (90, 10.0)], well_on=[90], necrosectomies=[7, 14], events=[(7, "bleeding")])


def _texts(figure) -> list[str]:
    return [text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in figure.fig.texts]


def test_patients_stand_under_their_outcome_with_n():
    texts = _texts(chart(patient_courses(many_courses(20))))
    assert "Resolved, n = 10" in texts
    assert "Died unresolved, n = 2" in texts
    assert "Still under treatment, n = 2" in texts


def test_with_groups_patients_stand_under_their_group():
    texts = _texts(chart(patient_courses(many_courses(20), by="infection")))
    assert "Confirmed, n = 7" in texts
    assert "Resolved, n = 10" not in texts


def test_the_key_names_what_occurs_with_its_number_and_nothing_else():
    texts = _texts(chart(patient_courses(registry_of(ONE))))
    assert "necrosectomy (2)" in texts
    assert "adverse event, no grade (1)" in texts
    assert "resolution documented (1)" in texts
    assert not any(text.startswith(("death", "surgery", "metal stent")) for text in texts)


def test_many_patients_are_drawn_in_two_blocks_and_few_in_one():
    assert len(chart(patient_courses(many_courses(20))).fig.axes) == 2
    big = chart(patient_courses(many_courses(150)))
    assert len(big.fig.axes) == 3
    assert any(text.endswith(", continued") for text in _texts(big))
    assert big.fig.get_size_inches()[1] < 11


def test_what_lies_before_day_0_or_after_the_last_day_is_said_and_not_drawn():
    course = Course(scans=[(-3, 90.0), (30, 70.0), (190, 60.0)], last_contact=200)
    figure = chart(patient_courses(registry_of(course)))
    assert "Recorded and not drawn: 1 before day 0 and 1 after day 180" in figure.caption
    later = chart(patient_courses(registry_of(course)), until=200)
    assert "Recorded and not drawn: 1 before day 0." in later.caption
    assert later.fig.axes[-1].get_xlim()[1] == pytest.approx(205)


def test_the_numbers_under_the_figure_are_one_line_a_patient():
    data = chart(patient_courses(registry_of(ONE, Course(died_on=4)))).data
    assert data["patient"].tolist() == [1, 2]
    assert data["necrosectomies"].tolist() == ["7; 14", ""]
    assert data["adverse events, AGREE grade"].tolist() == ["7: bleeding, no grade", ""]


def test_the_alternative_text_holds_how_many_ended_how():
    alt = chart(patient_courses(registry_of(ONE, Course(died_on=4)))).alt
    assert "Of 2 patients, 1 resolved and 1 died unresolved." in alt
    assert "2 necrosectomies" in alt


def test_the_caption_says_that_a_course_can_be_recognised():
    assert "can be recognised by somebody who knows the patient" in chart(patient_courses(registry_of(ONE))).caption


def test_more_patients_than_fit_are_drawn_page_by_page():
    result = patient_courses(many_courses(170))
    first, second = chart(result), chart(result, page=2)
    assert first.data["patient"].tolist() + second.data["patient"].tolist() == list(range(1, 171))
    assert "page 1 of 2" in first.alt
    assert "Page 2 of 2" in second.caption
    with pytest.raises(ChoiceError, match="Choose from 1 to 2"):
        chart(result, page=3)


def test_a_last_day_before_day_1_is_refused():
    with pytest.raises(ChoiceError, match="no last day"):
        chart(patient_courses(registry_of(ONE)), until=0)


@pytest.mark.parametrize("width", ["page", "column"])
@pytest.mark.parametrize(
    "registry",
    [registry_of(), registry_of(ONE), registry_of(Course(last_contact=0, observed=0)), many_courses(30)],
    ids=["nobody", "one patient", "nothing recorded", "thirty"],
)
def test_every_size_gives_a_figure_with_no_text_off_the_sheet(registry, width):
    figure = chart(patient_courses(registry), width=width)
    assert figure.alt
    frame = figure.fig.bbox
    for text in figure.fig.texts:
        box = text.get_window_extent(figure.fig.canvas.get_renderer())
        assert frame.x0 - 1 <= box.x0 and box.x1 <= frame.x1 + 1, text.get_text()
        assert frame.y0 - 1 <= box.y0 and box.y1 <= frame.y1 + 1, text.get_text()


def test_nobody_is_said_to_be_nobody():
    figure = chart(patient_courses(registry_of()))
    assert "Nobody" in _texts(figure)
    assert "There is no patient to show." in figure.alt


def test_labels_with_markup_are_escaped():
    result = patient_courses(many_courses(6), by="infection")
    renamed = result.frame["group"].cat.rename_categories({"confirmed": '<script>alert("x")</script> $x_1$'})
    page = chart(replace(result, frame=result.frame.assign(group=renamed)))._repr_html_()
    assert "<script" not in page
    assert "&lt;script&gt;" in page


@pytest.mark.slow
def test_the_same_courses_give_the_same_bytes_and_leave_the_settings_alone():
    before = dict(matplotlib.rcParams)
    result = patient_courses(many_courses(8))
    pages = {hashlib.sha256(chart(result)._repr_html_().encode()).hexdigest() for _ in range(2)}
    images = {hashlib.sha256(chart(result).image("png", dpi=40)).hexdigest() for _ in range(2)}
    assert len(pages) == len(images) == 1
    assert dict(matplotlib.rcParams) == before


def test_a_line_says_what_happened_on_which_days():
    course = Course(scans=[(-3, 120.0), (30, None)], events=[(8, "stent_occlusion")], surgery_on=50, last_contact=70)
    line = course_lines(patient_courses(registry_of(course))).iloc[0]
    assert line["outcome"] == "surgery"
    assert (line["end, day"], line["last contact, day"]) == (50, 70)
    assert line["scans"] == "−3: 120 mm; 30: not measured"
    assert line["adverse events, AGREE grade"] == "8: stent occlusion, no grade"
    assert line["other interventions"] == "50: surgical necrosectomy"


def test_a_stent_of_unknown_end_and_a_day_in_a_range_say_so():
    lines = course_lines(patient_courses(many_courses(1)))
    assert lines.loc[0, "stents"] == "0–20: lumen apposing; 20 to ?: double pigtail"
    registry = registry_of(Course(events=[(12, "bleeding")]))
    ranged = with_tables(registry, adverse_events=registry.adverse_events.assign(day_latest=40))
    line = course_lines(patient_courses(ranged)).iloc[0]
    assert line["adverse events, AGREE grade"] == "12–40: bleeding, no grade"


def test_the_table_has_a_row_a_patient_and_escapes_its_text():
    rows = table_of(parsed(table(patient_courses(many_courses(7))).html).all("table")[0])
    assert len(rows) == 8
    assert rows[0][:2] == ["Patient", "Outcome"]
    assert table(patient_courses(registry_of())).notes[0] == "Nobody."


def test_the_words_count_and_never_give_a_share():
    said = words(patient_courses(many_courses(12)))
    assert said.startswith("Of 12 patients, 7 resolved, 1 died unresolved, 1 had surgery first, 1 had a percutaneous")
    assert "they are not shares" in said
    assert "%" not in said.split("Estimand")[0]


def test_one_patient_is_spoken_of_in_the_singular():
    said = words(patient_courses(registry_of(Course(last_contact=50, observed=60, necrosectomies=[9]))))
    assert said.startswith("Of 1 patient, 1 was still under treatment. Recorded in all: 1 necrosectomy, 0 stents")


def test_groups_are_spoken_of_one_by_one():
    said = words(patient_courses(many_courses(12), by="infection"))
    assert "Confirmed: of 4 patients" in said


def test_an_outcome_heads_its_patients_in_words():
    assert heading("surgery") == "Surgery before resolution"
    assert heading("still under treatment") == "Still under treatment"
