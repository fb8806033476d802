import csv
from datetime import date

import pandas as pd
import pytest

from builders.exports import HEADINGS, WIDE, wide_line, workbook
from necrostats.errors import NecrostatsError, RegistryError
from necrostats.registry.export import outputs
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import registry_of_export
from necrostats.registry.export.tidying import tidy
from necrostats.registry.loading import read_registry


def tidied(tmp_path, *lines, layout=WIDE, to="tidy", headings=HEADINGS):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [headings, *lines]}, strings_to_formulas=False)
    return tidy(path, parse_layout(layout), tmp_path / to)


LINES = (
    wide_line("1", 91, DEN1_date=date(2024, 3, 8), DEN1_tools="snare+?", DEN1_yield="~250 cc", DEN1_compl="bled"),
    wide_line("2", 60, date(2024, 4, 1), DEN1_date="May-24", DEN1_yield=">500", DEN2_date="x", DEN2_tools="net"),
)


def test_reading_the_tidy_folder_again_gives_an_equal_registry(tmp_path):
    made = tidied(tmp_path, *LINES)
    again, first = read_registry(tmp_path / "tidy"), registry_of_export(tmp_path / "unit.xlsx", parse_layout(WIDE))
    for name, table in first.tables.items():
        pd.testing.assert_frame_equal(table, again.tables[name])
    for set_aside in (made.set_aside, first.set_aside):
        pd.testing.assert_frame_equal(set_aside, again.set_aside)
    pd.testing.assert_frame_equal(made.findings, first.findings)
    assert made.source == first.source
    assert "NOT_A_TABLE" not in set(again.findings["rule"])


def test_a_session_set_aside_on_the_way_stays_known_to_be_missing(tmp_path):
    tidied(tmp_path, *LINES)
    again = read_registry(tmp_path / "tidy")
    lost = again.set_aside[(again.set_aside["table"] == "sessions") & (again.set_aside["scope"] == "row")]
    assert lost["patient_id"].tolist() == ["P0002"]


def test_the_same_export_gives_the_same_bytes(tmp_path):
    first = {path.name: path.read_bytes() for path in tidied(tmp_path, *LINES).files}
    second = {path.name: path.read_bytes() for path in tidied(tmp_path, *LINES, to="again").files}
    assert first == second
    assert {"patients.csv", "ledger.csv", "set_aside.csv", "findings.csv"} <= set(first)


def test_no_file_holds_a_calendar_date(tmp_path):
    for path in tidied(tmp_path, *LINES).files:
        assert "2024-" not in path.read_text() and "May-24" not in path.read_text()


@pytest.mark.parametrize("text", ["=1+1", "+sum", "-see below", "@x", "'=1+1"])
def test_no_cell_can_start_a_formula_and_reading_again_gives_the_text_back(tmp_path, text):
    layout = WIDE.replace('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = "operator"')
    made = tidied(tmp_path, wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools=text), layout=layout)
    for path in made.files:
        with path.open(newline="") as file:
            cells = {cell for line in csv.reader(file) for cell in line if not cell.lstrip("+-").isdecimal()}
        assert not [cell for cell in cells if cell[:1] in tuple("=+-@\t\r")]
    assert read_registry(tmp_path / "tidy").sessions["operator"].dropna().tolist() == [text]


def test_the_key_of_private_periods_lies_beside_the_folder(tmp_path):
    layout = WIDE.replace("[fill]", 'periods = "sequential"\n[fill]')
    tidied(tmp_path, *LINES, layout=layout)
    assert "2024Q1,P01" in (tmp_path / "tidy-private-period-key.csv").read_text()
    assert not any("2024Q" in path.read_text() for path in (tmp_path / "tidy").iterdir())


def test_a_table_of_an_earlier_run_does_not_stay_behind(tmp_path):
    (tmp_path / "tidy").mkdir()
    (tmp_path / "tidy" / "stents.csv").write_text("stent_id\nT1\n")
    tidied(tmp_path, *LINES)
    assert not (tmp_path / "tidy" / "stents.csv").exists()


def test_nothing_is_written_where_the_privacy_check_stops(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="mail anna@example.org")
    with pytest.raises(RegistryError) as caught:
        tidied(tmp_path, line)
    assert "example.org" not in str(caught.value)
    assert not (tmp_path / "tidy").exists()


def test_the_folder_of_the_export_and_a_file_are_refused(tmp_path):
    with pytest.raises(NecrostatsError, match="is a file"):
        tidied(tmp_path, *LINES, to="unit.xlsx")
    with pytest.raises(NecrostatsError, match="another folder"):
        tidy(tmp_path, parse_layout(WIDE), tmp_path)


def test_the_lines_of_a_long_ledger_are_counted_while_they_are_written(tmp_path, monkeypatch):
    monkeypatch.setattr(outputs, "_PROGRESS", 1)
    said = []
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, *LINES]})
    tidy(path, parse_layout(WIDE), tmp_path / "tidy", say=said.append)
    with (tmp_path / "tidy" / "ledger.csv").open(encoding="utf-8", newline="") as file:
        lines = len(list(csv.reader(file))) - 1
    assert f"writing ledger.csv: {lines:,} lines" in said
