import pytest

from builders.exports import HEADINGS, WIDE, read_wide, told, wide_line
from necrostats.registry.export.counting import counts_of
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import read_with_layout

CSV = WIDE.replace('name = "DEN"\n', "").partition("[[sheet.rows]]\ntable = \"sessions\"")[0]


def read_csv(tmp_path, text):
    path = tmp_path / "unit.csv"
    path.write_text("Study no,Age,Index\n" + text)
    return read_with_layout(path, parse_layout(CSV))


def test_rows_that_the_layout_calls_no_record_are_set_aside_with_a_note(tmp_path):
    layout = WIDE.replace('patient = "Study no"', 'patient = "Study no"\nskip_rows = [3]')
    found = read_wide(tmp_path, wide_line("1"), wide_line("total"), wide_line("2"), layout=layout)
    assert len(found.registry.patients) == 2
    assert [row for _, row, _, _ in told(found, "SKIPPED")] == [3]
    assert counts_of(found.material).rows_set_aside == 1


def test_a_csv_row_with_more_cells_than_headings_is_set_aside_whole(tmp_path):
    found = read_csv(tmp_path, "1,50,01/03/24\n2,50,01/03/24,,,x\n3,50,01/03/24\n")
    assert len(found.registry.patients) == 2
    assert [row for _, row, _, _ in told(found, "LONG_ROW")] == [3]
    assert counts_of(found.material).complete


@pytest.mark.parametrize("tail", [",\n", ",,,\n", "\n"])
def test_separators_at_the_end_of_a_line_are_no_cells(tmp_path, tail):
    found = read_csv(tmp_path, f"1,50,01/03/24{tail}2,50,01/03/24{tail}")
    assert len(found.registry.patients) == 2
    assert told(found, "LONG_ROW") == []


def test_a_stray_quotation_mark_that_ate_rows_is_seen(tmp_path):
    found = read_csv(tmp_path, '1,50,01/03/24\n2,"50,01/03/24\n3,50,01/03/24\n4,50",01/03/24\n5,50,01/03/24\n')
    assert [row for _, row, _, _ in told(found, "STRAY_QUOTE")] == [3]
    assert len(found.registry.patients) == 2


def test_a_copy_is_a_copy_only_if_every_cell_is_the_same(tmp_path):
    found = read_wide(
        tmp_path, [*wide_line("1"), "a"], [*wide_line("1"), "b"], headings=[*HEADINGS, "Note"]
    )  # fmt: skip
    assert told(found, "DUPLICATE_ROW") == []
    assert len(found.registry.patients) == 1
