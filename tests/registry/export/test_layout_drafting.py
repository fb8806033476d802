import re
from datetime import date

import pytest

from builders.exports import HEADINGS, wide_line, workbook
from necrostats.errors import RegistryError, SourceError
from necrostats.registry.export.layout_drafting import GUESS, draft_layout
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout


def export(tmp_path, **more):
    line = wide_line("1", 50, "28/02/24", DEN1_date=date(2024, 3, 8), DEN1_tools="snare", DEN2_date=date(2024, 3, 20))
    sheets = {
        "DEN": [[*HEADINGS, "DEN3+", "Remark"], [*line, "", "x"]],
        "Deaths": [["Study no", "Date of death"], ["1", date(2024, 5, 1)]],
        **more,
    }
    return workbook(tmp_path / "unit.xlsx", sheets)


def test_a_layout_is_proposed_from_headings_and_contents(tmp_path):
    layout = parse_layout(draft_layout(export(tmp_path)))
    wide, deaths = layout.sheets
    assert wide.patient == ("Study no",)
    assert [(rows.table, rows.numbers) for rows in wide.rows] == [("patients", ()), ("sessions", (1, 2))]
    assert {column.heading: column.to for column in wide.rows[1].columns} == {
        "DEN{n} date": "day",
        "DEN{n} tools": "instruments",
        "DEN{n} yield": "yield",
        "DEN{n} compl": "event",
    }
    assert wide.rows[1].overflow.column == "DEN3+"
    assert deaths.rows[0].columns[0].to == "death_day"
    assert {column.day_first for column in wide.rows[1].columns} == {True}


def test_every_guess_is_marked_as_one(tmp_path):
    drafted = draft_layout(export(tmp_path))
    for line in drafted.splitlines():
        if " = " in line and not line.startswith(("#", "name =", "numbers =", "format =", "ignore = []")):
            assert GUESS in line
    assert '"Remark"' in re.search(r"# not guessed.*", drafted)[0]


def test_no_cell_is_shown_in_it(tmp_path):
    drafted = draft_layout(export(tmp_path))
    assert "snare" not in drafted and "2024" not in drafted and "28/02" not in drafted


def test_the_draft_can_be_used_once_it_is_completed(tmp_path):
    path = export(tmp_path)
    drafted = draft_layout(path).replace("# data_lock = 2026-09-30", "data_lock = 2026-09-30")
    drafted = drafted.replace("[fill]", '[fill]\n"patients.last_contact_day" = "last_record"')
    found = read_with_layout(path, parse_layout(drafted))
    assert found.registry.sessions["day"].tolist() == [0, 9, 21]
    assert found.registry.patients["death_day"].tolist() == [63]


@pytest.mark.parametrize("sheets", [{"S": [["x"]]}, {"S": []}, {"S": [[1, 2], [3, 4]]}, {"A": [["Date"]], "B": []}])
def test_an_export_without_anything_to_guess_still_gives_a_text(tmp_path, sheets):
    assert draft_layout(workbook(tmp_path / "a.xlsx", sheets)).startswith("# Proposed")


def test_a_heading_that_is_an_identifier_stops(tmp_path):
    path = workbook(tmp_path / "a.xlsx", {"S": [["No", "anna@example.org"], [1, 2]]})
    with pytest.raises(RegistryError) as caught:
        draft_layout(path)
    assert "anna" not in str(caught.value)


def test_a_file_that_cannot_be_read_is_a_plain_error(tmp_path):
    with pytest.raises(SourceError):
        draft_layout(tmp_path / "none.xlsx")
