"""The files that tidying writes.

What is asked of all patients together, gathered a stretch at a time.

Columns written as csv.
"""

from __future__ import annotations

import csv
import io
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.exports import HEADINGS, WIDE, read_wide, wide_line, workbook
from builders.written import text_in
from necrostats.errors import NecrostatsError, RegistryError, SourceError
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.ledger import ledger_of
from necrostats.registry.export.loading import prepared, read_stretch, registry_of_export
from necrostats.registry.export.reshaping import Stretch
from necrostats.registry.export.tidying import AcrossStretches, example_layout, run_draft, run_tidy, tidy, write_stretch
from necrostats.registry.export.writing import UNFINISHED, CsvFile, Outputs, texts_of
from necrostats.registry.loading import read_registry
from necrostats.registry.text import undefused


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
        assert "2024-" not in text_in(path) and "May-24" not in text_in(path)


@pytest.mark.parametrize("text", ["=1+1", "+sum", "-see below", "@x", "'=1+1"])
def test_no_cell_can_start_a_formula_and_reading_again_gives_the_text_back(tmp_path, text):
    layout = WIDE.replace('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = "operator"')
    made = tidied(tmp_path, wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools=text), layout=layout)
    for path in (each for each in made.files if each.suffix == ".csv"):
        with path.open(newline="") as file:
            cells = {cell for line in csv.reader(file) for cell in line if not cell.lstrip("+-").isdecimal()}
        assert not [cell for cell in cells if cell[:1] in tuple("=+-@\t\r")]
    assert read_registry(tmp_path / "tidy").sessions["operator"].dropna().tolist() == [text]


def test_the_key_of_private_periods_lies_beside_the_folder(tmp_path):
    layout = WIDE.replace("[fill]", 'periods = "sequential"\n[fill]')
    tidied(tmp_path, *LINES, layout=layout)
    assert "2024Q1,P01" in (tmp_path / "tidy-private-period-key.csv").read_text()
    assert not any("2024Q" in text_in(path) for path in (tmp_path / "tidy").iterdir())


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
    monkeypatch.setattr("necrostats.registry.export.writing._PROGRESS", 1)
    said = []
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, *LINES]})
    tidy(path, parse_layout(WIDE), tmp_path / "tidy", say=said.append)
    with (tmp_path / "tidy" / "ledger.csv").open(encoding="utf-8", newline="") as file:
        lines = len(list(csv.reader(file))) - 1
    assert f"writing ledger.csv: {lines:,} lines" in said


@pytest.fixture
def read(tmp_path):
    return read_wide(tmp_path, wide_line("1", DEN1_date=date(2024, 3, 8), DEN1_tools="snare"))


def quiet(line: str) -> None:
    assert line


def test_no_file_is_there_before_all_is_whole_and_then_all_are(tmp_path, read):
    folder = tmp_path / "tidy"
    with Outputs(folder, quiet) as outputs:
        write_stretch(outputs, read)
        assert not [each for each in folder.iterdir() if not each.name.startswith(".")]
        files = outputs.finish(read.registry.findings, read.registry.set_aside, {})
    assert sorted(each.name for each in folder.iterdir()) == sorted(each.name for each in files)
    sessions = pd.read_csv(folder / "sessions.csv", dtype=str, keep_default_na=False)
    assert sessions["day"].tolist() == ["0", "7"] and "day_latest" not in sessions
    assert len(pd.read_csv(folder / "ledger.csv")) == len(ledger_of(read))


def test_stretches_stand_one_below_the_other(tmp_path, read):
    with Outputs(tmp_path / "tidy", quiet) as outputs:
        write_stretch(outputs, read)
        write_stretch(outputs, read)
        outputs.finish(read.registry.findings, read.registry.set_aside, {})
    assert pd.read_csv(tmp_path / "tidy" / "patients.csv")["patient_id"].tolist() == ["P0001", "P0001"]


def test_what_is_not_finished_leaves_nothing_behind_and_what_was_there_stays(tmp_path, read):
    made, old = tmp_path / "made", tmp_path / "old"
    old.mkdir()
    (old / "patients.csv").write_text("patient_id\nP9\n")
    for folder in (made, old):
        with pytest.raises(RuntimeError), Outputs(folder, quiet) as outputs:
            write_stretch(outputs, read)
            raise RuntimeError
    assert not made.exists()
    assert [each.name for each in old.iterdir()] == ["patients.csv"]
    assert (old / "patients.csv").read_text() == "patient_id\nP9\n"


def test_the_key_of_private_periods_lies_beside_the_folder_outputs(tmp_path, read):
    with Outputs(tmp_path / "tidy", quiet) as outputs:
        write_stretch(outputs, read)
        files = outputs.finish(read.registry.findings, read.registry.set_aside, {"2024Q1": "P01"})
    assert files[-1] == tmp_path / "tidy-private-period-key.csv"
    assert files[-1].read_text() == "quarter,period\n2024Q1,P01\n"


LAYOUT = WIDE.replace("[fill]", '[fill]\n"patients.aetiology" = "alcohol"\n"patients.sex" = "male"')


def found(tmp_path, *lines) -> dict[str, list[int | None]]:
    """Rule → the rows it names, each line of the sheet a stretch of its own."""
    ready = prepared(workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, *lines]}), parse_layout(LAYOUT))
    across = AcrossStretches()
    for row in range(len(lines)):
        across.add(read_stretch(ready, Stretch(first=np.array([row]), end=np.array([row + 1])), whole=False))
    frames = [*across.findings()]
    return {frame["rule"].iloc[0]: [*frame["row"].astype(object)] for frame in frames if len(frame)}


def test_patients_entered_twice_are_found_in_different_stretches(tmp_path):
    day = date(2024, 3, 8)
    same = [wide_line(name, 50, DEN1_date=day, DEN1_tools="snare") for name in ("1", "2")]
    rows = found(tmp_path, same[0], wide_line("3", 51, DEN1_date=day, DEN1_tools="snare"), same[1])
    assert rows == {"SAME_PATIENT_TWICE": [2, 4]}


def test_units_of_different_stretches_are_asked_about_once(tmp_path):
    day = date(2024, 3, 8)
    amounts = [wide_line(str(age), age, DEN1_date=day, DEN1_yield=text) for age, text in ((50, "9 ml"), (60, "9 g"))]
    rows = found(tmp_path, *amounts)
    assert list(rows) == ["MIXED_UNITS"] and len(rows["MIXED_UNITS"]) == 1


def test_patients_who_differ_are_not_asked_about(tmp_path):
    lines = [wide_line(str(age), age, DEN1_date=date(2024, 3, 8), DEN1_yield="9 ml") for age in (50, 60)]
    assert found(tmp_path, *lines) == {}


def objects(listed):
    array = np.empty(len(listed), dtype=object)
    array[:] = listed
    return array


CELLS = st.lists(st.text(alphabet="a=+-@,\"\n\r 1'é", max_size=5), min_size=1, max_size=12)


@given(CELLS)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_what_is_written_is_read_again_by_the_csv_module_of_python_and_starts_no_formula(tmp_path_factory, cells):
    path = tmp_path_factory.mktemp("written") / "a.csv"
    file = CsvFile(path, ("n", "text, as it is"))
    file.add([objects([str(n) for n in range(len(cells))]), objects(cells)])
    file.finish()
    heading, *rows = csv.reader(io.StringIO(path.read_bytes().decode(), newline=""), strict=True)
    assert heading == ["n", "text, as it is"]
    assert [(number, undefused(text)) for number, text in rows] == [(str(n), cell) for n, cell in enumerate(cells)]
    assert not any(text.startswith(("=", "@", "+a", "-a", "\n", "\r")) for _, text in rows)


def test_what_is_added_stands_one_below_the_other_and_nothing_is_a_heading_alone(tmp_path):
    file = CsvFile(tmp_path / "b.csv", ["a"])
    file.add([objects(["1"])])
    file.add_frame(pd.DataFrame({"b": ["x", "y"], "a": [2, 3]}))
    assert not (tmp_path / "b.csv").exists()
    assert file.finish().read_text() == "a\n1\n2\n3\n"
    assert CsvFile(tmp_path / "c.csv", ["a", "b"]).finish().read_text() == "a,b\n"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["b.csv", "c.csv"]


def test_a_file_that_is_dropped_leaves_nothing_behind(tmp_path):
    CsvFile(tmp_path / "b.csv", ["a"]).drop()
    assert not [*tmp_path.iterdir()]


@given(CELLS)
@settings(deadline=None, derandomize=True, max_examples=50)
def test_a_file_that_is_widened_is_the_one_with_a_blank_column_from_the_start(tmp_path_factory, cells):
    folder, texts = tmp_path_factory.mktemp("written"), objects(cells)
    narrow, wide = CsvFile(folder / "narrow.csv", ["a", "c"]), CsvFile(folder / "wide.csv", ["a", "b", "c"])
    narrow.add([texts, texts])
    narrow.widen(["a", "b", "c"])
    narrow.add([texts, texts, texts])
    wide.add([texts, objects([""] * len(cells)), texts])
    wide.add([texts, texts, texts])
    assert narrow.finish().read_bytes() == wide.finish().read_bytes()


def test_a_file_takes_the_lines_of_another(tmp_path):
    one, two = CsvFile(tmp_path / "1.csv", ["a"]), CsvFile(tmp_path / "2.csv", ["a"])
    one.add([objects(["1"])])
    two.add([objects(["2", "3\n4"])])
    one.append(two)
    assert one.finish().read_text() == 'a\n1\n2\n"3\n4"\n'
    assert [each.name for each in tmp_path.iterdir()] == ["1.csv"]


def test_each_kind_of_value_has_one_way_of_being_written():
    assert texts_of(pd.Series([1, None], dtype="Int64")).tolist() == ["1", ""]
    assert texts_of(pd.Series([True, False, None], dtype="boolean")).tolist() == ["yes", "no", ""]
    assert texts_of(pd.Series([0.1, 250.0, np.nan])).tolist() == ["0.1", "250", ""]
    assert texts_of(pd.Series(["=1+1", None], dtype="string")).tolist() == ["=1+1", ""]


def test_the_example_is_a_sound_layout():
    layout = parse_layout(example_layout())
    assert [sheet.names for sheet in layout.sheets] == [("DEN",), ("Scans",), ("Deaths",)]
    assert layout.sheets[0].rows[3].overflow.column == "DEN8+"


def test_tidy_says_what_became_of_everything_and_where_it_went(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="wand")
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, line]})
    (tmp_path / "layout.toml").write_text(WIDE)
    said = []
    report, stopped = run_tidy(
        str(path), str(tmp_path / "layout.toml"), str(tmp_path / "to"), accepted=(), say=said.append
    )
    assert stopped and '"DEN1 tools": "wand"' in report
    assert "cells 5 = interpreted 4 + unknown 0 + set aside 1" in report
    assert str(tmp_path / "to" / "sessions.csv") in report
    assert said[0] == "reading unit.xlsx"


def test_a_layout_beside_an_export_is_all_that_read_registry_needs(tmp_path):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]})
    (tmp_path / "layout.toml").write_text(WIDE)
    assert len(read_registry(path, layout=tmp_path / "layout.toml").patients) == 1


def test_a_draft_is_printed(tmp_path):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]})
    assert run_draft(str(path)).startswith("# Proposed by necrostats")


PATIENTS = """Patient ID,age_years,SEX,aetiology,index_period,observed_days,last_contact_day,vital_status,death_day
p001 ,"67",Female,Gallstone,2024 q1,400,380,Alive,n/a
P002,90+,F,alcohol,2024Q1,400,90.0,dead,90
P003,"45,0",male,Drug ,2024Q2,300,300,alive,-
P003,"45,0",male,Drug ,2024Q2,300,300,alive,-
"""
COLLECTIONS = """collection_id,patient_id,is_index,long_mm,solid_percent
C1,P001,Y,120,"40,5"
C2,p002,TRUE,12 cm,30
C3,P003,1,90,unk
"""
SESSIONS = """session_id,patient_id,collection_id,day,session_type,yield_low,yield_high,yield_unit,events_checked
S1,P001,C1,0,drainage,,,,yes
S2,P001,C1,7,Necrosectomy,200-300,,ml,Y
S5,P003,C3,0,drainage and necrosectomy,80,80.0,ML,No
S6,P009,C3,5,necrosectomy,10,10,ml,No
S7,P003,C3,5,necrosectomy,10,10,ml,No,extra
"""


@pytest.fixture
def dirty(tmp_path):
    folder = tmp_path / "dirty"
    folder.mkdir()
    for name, text in {"patients": PATIENTS, "collections": COLLECTIONS, "sessions": SESSIONS}.items():
        (folder / f"{name}.csv").write_text(text)
    return folder


def _table(folder, name):
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


def test_blanks_wrong_types_and_other_decimal_marks_are_written_clean(dirty, tmp_path):
    tidy(dirty, None, tmp_path / "clean")
    patients, collections = _table(tmp_path / "clean", "patients"), _table(tmp_path / "clean", "collections")
    assert patients["patient_id"].tolist() == ["P001", "P002", "P003"]
    assert patients["age_years"].tolist() == ["67", "90", "45"]
    assert patients["sex"].tolist() == ["female", "female", "male"]
    assert patients["index_period"].tolist() == ["2024Q1", "2024Q1", "2024Q2"]
    assert patients["death_day"].tolist() == ["", "90", ""]
    assert collections["solid_percent"].tolist() == ["40.5", "30", ""]
    assert collections["is_index"].tolist() == ["yes", "yes", "yes"]


def test_what_was_written_is_read_as_the_dirty_folder_was_and_changes_no_more(dirty, tmp_path):
    tidy(dirty, None, tmp_path / "clean")
    first, again = read_registry(dirty), read_registry(tmp_path / "clean")
    for name, table in first.tables.items():
        pd.testing.assert_frame_equal(table, again.tables[name])
    tidy(tmp_path / "clean", None, tmp_path / "cleaner")
    for name in first.given:
        assert text_in(tmp_path / "clean" / f"{name}.csv") == text_in(tmp_path / "cleaner" / f"{name}.csv")


def test_every_cell_and_row_of_the_dirty_folder_is_accounted_for(dirty, tmp_path):
    made = tidy(dirty, None, tmp_path / "clean")
    assert made.counts.complete
    filled = sum(
        len([cell for cell in line.split(",") if cell.strip()]) for line in _lines(PATIENTS.replace('5,0"', '5.0"'))
    )
    filled += sum(
        len([cell for cell in line.split(",") if cell.strip()]) for line in _lines(COLLECTIONS.replace("0,5", "0.5"))
    )
    filled += sum(
        len([cell for cell in line.split(",") if cell.strip()]) for line in _lines(SESSIONS.replace(",extra", ""))
    )
    assert made.counts.cells == filled
    assert (made.counts.rows, made.counts.rows_set_aside) == (12, 3)
    ledger = _table(tmp_path / "clean", "ledger")
    assert len(ledger) == filled
    line = ledger[(ledger["field"] == "yield_low") & (ledger["written"] == "200-300")].iloc[0]
    assert (line["cell"], line["outcome"], line["value"]) == ("F3", "set aside", "")


def _lines(text):
    return text.splitlines()[1:]


def test_an_age_that_is_not_kept_is_in_no_file(dirty, tmp_path):
    (dirty / "patients.csv").write_text(PATIENTS.replace("90+", "97"))
    for path in tidy(dirty, None, tmp_path / "clean").files:
        assert "97" not in text_in(path).replace("0.97", "")


def test_a_folder_that_holds_other_things_is_not_written_to(dirty, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.docx").write_text("mine")
    with pytest.raises(NecrostatsError, match=r"holds other things \(notes.docx\)"):
        tidy(dirty, None, tmp_path / "mine")
    assert [path.name for path in (tmp_path / "mine").iterdir()] == ["notes.docx"]


def test_a_folder_that_another_run_writes_to_is_left_alone_and_the_way_out_is_said(dirty, tmp_path):
    busy = tmp_path / "clean" / UNFINISHED
    busy.mkdir(parents=True)
    with pytest.raises(NecrostatsError, match="another run") as caught:
        tidy(dirty, None, tmp_path / "clean")
    assert str(busy) in str(caught.value) and busy.is_dir()
    busy.rmdir()
    assert tidy(dirty, None, tmp_path / "clean").files


def test_an_export_without_a_layout_is_told_how_to_get_one(tmp_path):
    (tmp_path / "export").mkdir()
    (tmp_path / "export" / "den.csv").write_text("ID,Date\n1,2\n")
    with pytest.raises(SourceError, match="draft-layout"):
        tidy(tmp_path / "export", None, tmp_path / "clean")
