from datetime import date

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.exports import HEADINGS, WIDE, read, read_wide, told, wide_line, workbook
from necrostats.errors import RegistryError
from necrostats.registry.export.about import counts_of
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.loading import read_with_layout


def test_hidden_rows_columns_sheets_and_comments_are_named(tmp_path):
    path = tmp_path / "unit.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet, old = book.add_worksheet("DEN"), book.add_worksheet("Old")
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        sheet.write_row(0, 0, [*HEADINGS, "Extra"])
        sheet.write_row(1, 0, ["1", 50])
        sheet.write_datetime(1, 2, date(2024, 3, 1), shown)
        sheet.write(1, len(HEADINGS), "x")
        sheet.set_row(1, None, None, {"hidden": True})
        sheet.set_column(len(HEADINGS), len(HEADINGS), None, None, {"hidden": True})
        sheet.write_comment(1, 1, "checked twice")
        old.write(0, 0, "y")
        old.hide()
    found = read_with_layout(path, parse_layout(WIDE))
    listed = found.registry.findings.set_index("rule")
    assert listed.loc["HIDDEN_ROWS", "problem"] == "1 hidden row was read like any other"
    assert "B2" in listed.loc["COMMENTS", "problem"] and "checked" not in listed.loc["COMMENTS", "problem"]
    assert "hidden, and not mentioned" in listed.loc["SHEET_NOT_MENTIONED", "problem"]
    assert "hidden, and not mentioned" in listed.loc["COLUMN_NOT_MENTIONED", "problem"]
    assert len(found.registry.patients) == 1


def test_a_hidden_sheet_that_the_layout_names_is_read_and_said(tmp_path):
    path = tmp_path / "unit.xlsx"
    with xlsxwriter.Workbook(path) as book:
        book.add_worksheet("Front").write(0, 0, "see DEN")
        sheet = book.add_worksheet("DEN")
        shown = book.add_format({"num_format": "dd/mm/yyyy"})
        sheet.write_row(0, 0, HEADINGS)
        sheet.write_row(1, 0, ["1", 50])
        sheet.write_datetime(1, 2, date(2024, 3, 1), shown)
        sheet.hide()
    found = read_with_layout(path, parse_layout('ignore_sheets = ["Front"]\n' + WIDE))
    assert [sheet for sheet, _, _, _ in told(found, "HIDDEN_SHEET")] == ["DEN"]
    assert len(found.registry.patients) == 1


def test_files_that_are_no_tables_are_named(tmp_path):
    folder = tmp_path / "unit"
    folder.mkdir()
    workbook(folder / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]})
    (folder / "photo.jpg").write_bytes(b"x")
    found = read_with_layout(folder, parse_layout(WIDE))
    assert found.registry.findings.set_index("rule").loc["FILE_NOT_READ", "file"] == "photo.jpg"


CELLS = st.sampled_from(
    [
        "",
        "-",
        "?",
        "snare",
        "net x2",
        "wand",
        "12/03/24",
        "Mar-24",
        "31/02/24",
        "~250 cc",
        "300-200",
        ">500",
        "nil",
        "bled",
        "bled + perf",
        "as before",
        "see report",
        "1",
        "2",
        "93",
        45,
        0.5,
        date(2024, 3, 8),
        "=x",
        "#REF!",
        "  ",
    ]
)
LINES = st.lists(st.lists(CELLS, min_size=len(HEADINGS) + 2, max_size=len(HEADINGS) + 2), min_size=1, max_size=6)


def counted(found):
    counts = counts_of(found.material)
    assert counts.complete
    return counts


def test_every_cell_and_row_is_accounted_for(tmp_path):
    ignoring = 'patient = "Study no"\nignore = ["Note"]'
    layout = 'ignore_sheets = ["Lists"]\n' + WIDE.replace('patient = "Study no"', ignoring)
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="wand", DEN1_yield="-", DEN1_compl="nil")
    sheets = {
        "DEN": [[*HEADINGS, "Note", "Other"], [*line, "n", "o"], [*wide_line(""), "", "p"]],
        "Lists": [["a", "b"], ["c"]],
        "Old": [["d"]],
    }
    counts = counted(read(tmp_path, sheets, layout))
    assert (counts.interpreted, counts.unknown, counts.cells_set_aside) == (5, 1, 3)
    assert (counts.ignored, counts.not_mentioned) == (1 + 3, 2 + 1)
    assert (counts.rows, counts.rows_made, counts.rows_set_aside) == (2, 1, 1)


@given(lines=LINES)
@settings(deadline=None, derandomize=True, max_examples=60)
@pytest.mark.slow
def test_nothing_is_lost_whatever_stands_in_the_cells(tmp_path_factory, lines):
    layout = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nignore = ["Note"]')
    folder = tmp_path_factory.mktemp("export")
    try:
        found = read_wide(folder, wide_line("zz"), *lines, layout=layout, headings=[*HEADINGS, "Note", "Other"])
    except RegistryError as error:
        assert "This may tell who somebody is" in str(error)
        return
    counts = counted(found)
    ledger = ledger_of(found)
    told = ledger[ledger["cell"] != ""].drop_duplicates(["sheet", "cell"])
    assert len(told) >= counts.interpreted + counts.unknown
    assert not ledger["written"].str.contains("12/03/24|Mar-24|2024-03", regex=True).any()
    source = found.registry.source
    for name, table in found.registry.tables.items():
        assert len(table) == source.rows_kept[name] <= source.rows_read[name]
