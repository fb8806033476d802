"""One cell that feeds several targets: each takes what it knows, and what none takes is a finding."""

from __future__ import annotations

import pytest

from builders.exports import TOP, read, told
from necrostats.errors import RegistryError
from necrostats.registry.export.cells import RawCell
from necrostats.registry.export.layout import ColumnLayout
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.readers import Pseudonyms, readings_of

LAYOUT = (
    TOP
    + """
[[sheet]]
name = "People"
patient = "No"
rows = [{ table = "patients", columns = { "Index" = "index_date" } }]
[[sheet]]
name = "Events"
patient = "No"
[[sheet.rows]]
table = "adverse_events"
[sheet.rows.columns]
"Day" = { to = "day", days = true }
"Event" = "event_type"
"Grade" = ["agree_grade", { to = "treatment", codes = { "no Rx" = "none", "ITU" = "organ_support" } }]
"""
)


def columns():
    """The two targets of the column of grades."""
    rows = next(rows for _, rows in parse_layout(LAYOUT).makers() if rows.table == "adverse_events")
    return [column for column in rows.columns if column.heading == "Grade"]


def taken(text):
    """For each target its value, or why the cell is set aside, or None."""
    each = [readings_of([RawCell(text)], "adverse_events", column, "", Pseudonyms())[0] for column in columns()]
    return [next(iter(reading.fills.values()), reading.problem or None) for reading in each]


NEITHER = "holds something that is on the list of none of its targets"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("AGREE IIIa, endoscopic", ["IIIa", "endoscopic"]),
        ("endoscopic; agree 3a", ["IIIa", "endoscopic"]),
        ("IVa + ITU", ["IVa", "organ_support"]),
        ("AGREE I, no Rx", ["I", "none"]),
        ("II", ["II", None]),
        ("surgery", [None, "surgical"]),
        ("AGREE 3, endoscopic", [NEITHER, "endoscopic"]),
        ("II, leeches", ["II", NEITHER]),
        ("Clavien IIIa, IR", [NEITHER, "radiological"]),
        ("I, II, drugs", ["says two things where one belongs", "drug"]),
        ("n/a", [None, None]),
        ("", [None, None]),
    ],
)
def test_each_target_takes_the_part_it_knows(text, expected):
    assert taken(text) == expected


def test_what_is_left_beside_what_all_targets_took_is_asked_about():
    first, second = (
        readings_of([RawCell("II, drugs, leeches")], "adverse_events", column, "", Pseudonyms())[0]
        for column in columns()
    )
    assert first.question == "holds something beside what was read"
    assert second.question == ""


def test_a_word_that_two_targets_know_counts_for_none_unless_the_layout_lists_it():
    fever = ColumnLayout(heading="x", to="fever")
    diet = ColumnLayout(heading="x", to="oral_diet")

    def read_by(*shared):
        each = [ColumnLayout(heading="x", to=one.to, own_codes=one.own_codes, sharing=shared) for one in shared]
        return [readings_of([RawCell("no")], "reviews", one, "", Pseudonyms())[0].fills for one in each]

    assert read_by(fever, diet) == [{}, {}]
    listed = ColumnLayout(heading="x", to="fever", own_codes={"no": "no"}, codes={"no": "no"})
    assert read_by(listed, diet) == [{"fever": "no"}, {}]


def test_what_no_target_takes_is_one_finding_and_the_other_part_stays(tmp_path):
    sheets = {
        "People": [["No", "Index"], ["1", "01/03/2024"]],
        "Events": [["No", "Day", "Event", "Grade"], ["1", 3, "bled", "AGREE 3, endoscopic"]],
    }
    found = read(tmp_path, sheets, LAYOUT)
    assert told(found, "NOT_READ") == [("Events", 2, "Grade", "AGREE 3, endoscopic")]
    assert found.registry.adverse_events["treatment"].tolist() == ["endoscopic"]


def test_only_targets_with_codes_share_a_cell():
    with pytest.raises(RegistryError, match="shares its cells with another target"):
        parse_layout(LAYOUT.replace('["agree_grade", {', '["extra_nights", {'))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("LAMS 15 + coaxial DPT 7Fr", [("lumen_apposing", None), ("double_pigtail", "yes")]),
        ("2 x koaxiale DPT 7 Fr", [("double_pigtail", "yes")] * 2),
        ("DPT 7Fr", [("double_pigtail", None)]),
    ],
)
def test_a_stent_said_to_be_coaxial_is(text, expected):
    column = ColumnLayout(heading="x", to="stents")
    reading = readings_of([RawCell(text)], "sessions", column, "", Pseudonyms())[0]
    assert [(each["stent_type"], each.get("coaxial")) for each in reading.children] == expected


def sizes(*texts):
    column = ColumnLayout(heading="x", to="size", unit="mm", codes={"gone": "0"})
    return readings_of([RawCell(text) for text in texts], "scans", column, "", Pseudonyms())


def test_a_collection_that_is_gone_is_0_in_every_axis_that_the_column_gives():
    assert list(sizes("30x20x10", "gone")[1].fills.values()) == ["0", "0", "0"]
    assert list(sizes("30x20", "0 x 0")[1].fills.values()) == ["0", "0"]
    assert list(sizes("30", "gone")[1].fills.values()) == ["0"]


def test_fewer_axes_than_the_other_cells_give_are_read_and_asked_about():
    *_, short = sizes("30x20x10", "40x20x10", "25 x 20")
    assert dict(short.fills) == {"long_mm": "25", "mid_mm": "20"}
    assert "fewer axes" in short.question
    assert sizes("25 x 20", "30 x 10")[0].question == ""


@pytest.mark.parametrize("text", ["57 lat", "57 años", "57 Jahre", "57 ans", "57 anni", "57 jaar", "57 anos", "57 let"])
def test_an_age_with_the_word_for_years_of_a_language_is_an_age(text):
    column = ColumnLayout(heading="x", to="age_years")
    assert readings_of([RawCell(text)], "patients", column, "", Pseudonyms())[0].fills == {"age_years": "57"}
