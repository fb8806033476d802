import pytest
import xlsxwriter

from builders.exports import HEADINGS, WIDE, read_wide, told, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.export.mapped_sheets import headings
from necrostats.registry.reading import read_export


def test_headings_forgive_case_accents_line_breaks_and_double_blanks(tmp_path):
    written = ["STUDY  NO", "Âge", "index", *HEADINGS[3:-1], "den2\ncompl"]
    found = read_wide(tmp_path, wide_line(), headings=written)
    assert found.registry.patients["age_years"].tolist() == [50]


def test_headings_that_are_missing_are_all_named_with_the_nearest(tmp_path):
    written = ["Studi no", "Aeg", *HEADINGS[2:]]
    with pytest.raises(RegistryError) as caught:
        read_wide(tmp_path, wide_line(), headings=written)
    found = caught.value.findings
    assert found["value"].tolist() == ["Study no", "Age"]
    assert found["problem"].str.contains("the nearest is").all()


def test_a_numbered_column_need_not_be_there_for_each_number_but_for_one(tmp_path):
    found = read_wide(tmp_path, wide_line(), headings=[*HEADINGS[:-1], "DEN2 complications"])
    assert len(found.registry.patients) == 1
    both = [heading.replace("compl", "complications") for heading in HEADINGS]
    with pytest.raises(RegistryError) as caught:
        read_wide(tmp_path, wide_line(), headings=both)
    assert caught.value.findings["value"].tolist() == ["DEN1 compl", "DEN2 compl"]


def test_a_sheet_that_is_missing_is_named_with_the_nearest(tmp_path):
    with pytest.raises(RegistryError, match=r'"DAN" is no sheet of unit\.xlsx; the nearest is "DEN"'):
        read_wide(tmp_path, wide_line(), layout=WIDE.replace('name = "DEN"', 'name = "DAN"'))


def test_two_line_and_merged_headings_are_joined(tmp_path):
    path = tmp_path / "unit.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("DEN")
        sheet.merge_range(1, 1, 1, 2, "Index  drainage")
        for column, name in enumerate(["No", "date", "operator", "Age"]):
            sheet.write(2, column, name)
        sheet.merge_range(1, 4, 2, 4, "Sex")
        sheet.write(3, 0, "1")
    grid = read_export(path).grids[0]
    assert headings(grid, (2, 3)) == ["No", "Index drainage date", "Index drainage operator", "Age", "Sex"]


def test_a_second_column_of_the_same_heading_is_another_column(tmp_path):
    written = [*HEADINGS, "Age", ""]
    line = [*wide_line(), 60, "x"]
    found = read_wide(tmp_path, line, headings=written)
    assert found.registry.patients["age_years"].tolist() == [50]
    assert {column for _, _, column, _ in told(found, "COLUMN_NOT_MENTIONED")} == {"Age#2", "(M)"}


def test_a_column_may_be_named_by_its_number_or_its_letter(tmp_path):
    ignoring = 'patient = "Study no"\nignore = ["Age", "(M)"]'
    layout = WIDE.replace('"Age" =', '"Age#2" =').replace('patient = "Study no"', ignoring)
    found = read_wide(tmp_path, [*wide_line(), 60, "x"], headings=[*HEADINGS, "Age", ""], layout=layout)
    assert found.registry.patients["age_years"].tolist() == [60]
    assert told(found, "COLUMN_NOT_MENTIONED") == []
