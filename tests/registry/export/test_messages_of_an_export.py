"""What is told of an export is true, told once, and shows its dates to the person at the screen and to no file."""

from __future__ import annotations

import pytest
import xlsxwriter

from builders.exports import HEADINGS, INDEX, TOP, WIDE, read_wide, told, wide_line, workbook
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout
from necrostats.registry.export.tidying import run_tidy, tidy

GRADED = WIDE.replace(
    '"DEN{n} compl" = "event"',
    '"DEN{n} compl" = "event"\n"Grade {n}" = "event.agree_grade"\n"Tx {n}" = "event.treatment"',
)
BESIDE = ["Grade 1", "Tx 1", "Grade 2", "Tx 2"]


def graded(tmp_path, grade, treatment):
    line = [*wide_line(DEN1_date="10/03/24", DEN1_compl="bleeding"), grade, treatment, "", ""]
    found = read_wide(tmp_path, line, layout=GRADED, headings=[*HEADINGS, *BESIDE])
    listed = found.registry.findings
    return listed.loc[listed["rule"] == "TO_GRADE", "problem"].tolist()


@pytest.mark.parametrize(
    ("grade", "treatment", "said"),
    [
        ("", "", ["was read to an event with its type and day only"]),
        ("", "endoscopic", ["was read to an event without a grade"]),
        ("IIIa", "", []),
        ("IIIa", "endoscopic", []),
    ],
)
def test_an_event_is_told_to_lack_what_it_lacks(tmp_path, grade, treatment, said):
    assert graded(tmp_path, grade, treatment) == said


FORM = (
    TOP
    + """
[[sheet]]
name = "Case *"
labels = "A"
values = "B"
patient = "Code"
ends = ["SCOPES"]
[[sheet.rows]]
table = "patients"
columns = { "Index" = { to = "index_date", session = false } }
[[sheet]]
name = "Case *"
starts = "Date"
patient = "{sheet}"
[[sheet.rows]]
table = "sessions"
columns = { "Date" = "day" }
constants = { session_type = "necrosectomy" }
"""
)


def test_the_comments_of_a_sheet_that_is_read_in_parts_are_told_once(tmp_path):
    path = tmp_path / "unit.xlsx"
    with xlsxwriter.Workbook(path) as book:
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        sheet = book.add_worksheet("Case 1")
        for row, (label, value) in enumerate([("Code", "Case 1"), ("Index", INDEX), ("SCOPES", ""), ("Date", "")]):
            sheet.write(row, 0, label)
            if value == INDEX:
                sheet.write_datetime(row, 1, value, shown)
            elif value:
                sheet.write(row, 1, value)
        sheet.write(4, 0, "10/03/24")
        sheet.write_comment(1, 1, "look again")
    found = read_with_layout(path, parse_layout(FORM))
    assert len(told(found, "COMMENTS")) == 1


def test_a_death_before_the_index_drainage_is_told_once_and_in_words(tmp_path):
    layout = WIDE.replace('"Age" = "age_years"', '"Age" = "death_day"')
    found = read_wide(tmp_path, wide_line("1", age="01/02/24"), wide_line("2", age=""), layout=layout)
    listed = found.registry.findings
    assert listed.loc[listed["severity"] == "stops", ["column", "problem"]].to_numpy().tolist() == [
        ["Age", "lies before the index drainage"]
    ]


def test_tidying_shows_dates_on_the_screen_and_writes_none(tmp_path):
    line = wide_line(DEN1_date="31/02/2024", DEN2_date="born 12/03/1961")
    layout = tmp_path / "layout.toml"
    layout.write_text('accept = ["DEN!DEN2 date"]\n' + WIDE, encoding="utf-8")
    book = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, line]})
    said, _ = run_tidy(str(book), str(layout), str(tmp_path / "out"), accepted=(), say=lambda _: None)
    assert "31/02/2024" in said
    assert "1961" not in said
    written = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "out").glob("*.csv"))
    assert "31/02/2024" not in written and "1961" not in written


@pytest.mark.parametrize("rows_at_once", [50_000, 1])
def test_what_is_shown_on_the_screen_is_what_is_written_but_for_dates(tmp_path, rows_at_once):
    lines = [wide_line(str(number), DEN1_date="31/02/2024", DEN1_tools="a stick") for number in range(1, 4)]
    book = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, *lines]})
    made = tidy(book, parse_layout(WIDE), tmp_path / "out", rows_at_once=rows_at_once)
    shown = made.on_screen
    assert shown.drop(columns="value").equals(made.findings.drop(columns="value"))
    differ = shown[shown["value"] != made.findings["value"]]
    assert set(differ["rule"]) == {"NOT_A_DATE"} and set(differ["value"]) == {"31/02/2024"}


def inert(layout):
    return [place for place, _ in parse_layout(layout).inert]


def test_a_list_of_words_that_no_column_takes_is_told(tmp_path):
    layout = WIDE.replace("[[sheet]]", '[synonyms.texture]\n"mou" = "soft"\n[words]\nout = ["raus"]\n[[sheet]]', 1)
    assert inert(layout) == ["synonyms.texture"]
    found = read_wide(tmp_path, wide_line("1"), layout=layout)
    assert [column for _, _, column, _ in told(found, "NO_EFFECT")] == ["synonyms.texture"]


@pytest.mark.parametrize(
    ("name", "word", "left", "told_of"),
    [
        ("no_event", "nee", '"DEN{n} compl" = "event"\n', True),
        ("negation", "sin", '"DEN{n} compl" = "event"\n', True),
        ("then", "luego", '"DEN{n} tools" = "instruments"\n', True),
        ("out", "raus", '"DEN{n} yield" = { to = "yield", unit = "ml" }\n', True),
        ("about", "ca", '"DEN{n} yield" = { to = "yield", unit = "ml" }\n', False),
        ("unknown", "kA", '"DEN{n} yield" = { to = "yield", unit = "ml" }\n', False),
    ],
)
def test_a_small_word_that_no_column_takes_is_told(name, word, left, told_of):
    layout = WIDE.replace("[[sheet]]", f'[words]\n{name} = ["{word}"]\n[[sheet]]', 1)
    assert inert(layout) == []
    assert inert(layout.replace(left, "")) == ([f"words.{name}"] if told_of else [])


def test_words_for_an_end_and_for_yes_and_no_are_taken_by_what_they_are_for():
    layout = WIDE.replace('"DEN{n} compl" = "event"', '"End {n}" = "planned"').replace(
        "[[sheet]]", '[synonyms]\nyes_no = { ja = "yes" }\n[[sheet]]', 1
    )
    assert inert(layout) == []
