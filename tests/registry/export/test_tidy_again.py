"""A tidy folder, however it was typed, written clean."""

from __future__ import annotations

import pandas as pd
import pytest

from builders.written import text_in
from necrostats.errors import NecrostatsError, SourceError
from necrostats.registry.export.tidying import tidy
from necrostats.registry.export.writing import UNFINISHED
from necrostats.registry.loading import read_registry

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
