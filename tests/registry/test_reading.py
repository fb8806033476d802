"""Finding the tables of a source."""

from __future__ import annotations

import pytest

from builders.registry_files import faultless, write_folder, write_workbook
from necrostats.errors import SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.reading import read_source


def test_tables_come_in_the_order_of_the_codebook_whatever_the_files_are_called(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "patients.csv").rename(folder / "Patients.CSV")
    (folder / "adverse_events.csv").rename(folder / "Adverse events.csv")
    assert list(read_source(folder).tables) == list(TABLES)


def test_data_files_that_are_no_table_are_named_and_others_left_in_peace(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    for name in ("patient.csv", "old.xlsx", "README.md", ".DS_Store", "~$old.xlsx", "truth.json"):
        (folder / name).write_text("x")
    assert read_source(folder).strangers == ("old.xlsx", "patient.csv")


def test_the_hash_is_the_same_twice_and_changes_with_a_byte(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    first = read_source(folder).sha256
    assert read_source(folder).sha256 == first
    (folder / "reviews.csv").write_bytes((folder / "reviews.csv").read_bytes() + b"\n")
    assert read_source(folder).sha256 != first


def test_every_file_that_cannot_be_read_is_named_at_once(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "scans.csv").write_bytes(b"")
    (folder / "stents.csv").write_bytes(b"PK\x03\x04")
    with pytest.raises(SourceError) as caught:
        read_source(folder)
    assert [line.split()[0] for line in str(caught.value).splitlines()] == ["scans.csv", "stents.csv"]


def test_a_missing_source_is_said_plainly(tmp_path):
    with pytest.raises(SourceError, match="does not exist"):
        read_source(tmp_path / "nowhere")


def test_an_empty_folder_says_what_it_should_hold(tmp_path):
    with pytest.raises(SourceError, match=r"no patients\.csv"):
        read_source(tmp_path)


def test_a_folder_with_a_workbook_says_how_to_read_it(tmp_path):
    write_workbook(tmp_path / "unit.xlsx", faultless())
    with pytest.raises(SourceError, match=r"To read a workbook, name it: .*unit\.xlsx"):
        read_source(tmp_path)


def test_one_csv_is_answered_with_its_folder(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    with pytest.raises(SourceError, match="give the folder that holds the tables, unit"):
        read_source(folder / "patients.csv")


@pytest.mark.parametrize("name", ["unit.xls", "unit.ods", "unit"])
def test_another_kind_of_file_is_refused(tmp_path, name):
    (tmp_path / name).write_bytes(b"x")
    with pytest.raises(SourceError, match="cannot be read as a registry"):
        read_source(tmp_path / name)


def test_a_folder_in_the_place_of_a_file_is_refused(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "scans.csv").unlink()
    (folder / "scans.csv").mkdir()
    with pytest.raises(SourceError, match=r"scans\.csv cannot be opened"):
        read_source(folder)


def test_two_files_for_one_table_are_refused(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    (folder / "other interventions.csv").write_text("patient_id\n")
    with pytest.raises(SourceError, match="two files hold the table other_interventions"):
        read_source(folder)


def test_a_workbook_without_a_table_is_refused(tmp_path):
    path = write_workbook(tmp_path / "unit.xlsx", {"patients": faultless()["patients"]})
    assert list(read_source(path).tables) == ["patients"]
    empty = write_workbook(tmp_path / "empty.xlsx", {"other_interventions": []})
    assert list(read_source(empty).tables) == ["other_interventions"]
