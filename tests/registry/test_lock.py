"""A registry frozen for the next review, and every way in which a lock cannot be relied on."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pandas as pd
import pytest

from builders.earlier import locked, plain_tables
from builders.written import text_in
from necrostats import lock_registry, read_registry
from necrostats.errors import NecrostatsError, SourceError
from necrostats.measures.locking import definitions_today, figures_of
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.tidying import tidy
from necrostats.registry.lock import FORM, MANIFEST, _sha256_of, read_lock

SYNTHETIC = Path(__file__).parents[2] / "synthetic_registry" / "tidy"
EXPORT = SYNTHETIC.parent / "export"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("locks") / "lock"
    lock_registry(SYNTHETIC, folder)
    return folder


@pytest.fixture
def copy(made, tmp_path):
    return Path(shutil.copytree(made, tmp_path / "lock"))


def manifest_of(folder):
    return json.loads((folder / MANIFEST).read_bytes())


def rewritten(folder, **changed):
    """A manifest with other contents and the hash that fits them."""
    said = {**manifest_of(folder), **changed}
    (folder / MANIFEST).write_text(json.dumps({**said, "sha256": _sha256_of(said)}), encoding="utf-8")


def refused(folder):
    with pytest.raises(NecrostatsError) as raised:
        read_lock(folder)
    (line,) = str(raised.value).splitlines()
    assert str(folder) in line
    return line


def test_a_lock_holds_the_tables_as_tidy_writes_them_and_a_manifest(made, tmp_path):
    tidy(SYNTHETIC, None, tmp_path / "tidy")
    assert {each.name for each in made.iterdir()} == {*(f"{name}.csv" for name in TABLES), MANIFEST}
    for name in TABLES:
        assert (made / f"{name}.csv").read_bytes() == (tmp_path / "tidy" / f"{name}.csv").read_bytes()


def test_a_lock_read_again_is_the_registry_its_definitions_and_its_figures(made):
    registry, lock = read_registry(SYNTHETIC), read_lock(made)
    for name, table in registry.tables.items():
        pd.testing.assert_frame_equal(table, lock.registry.tables[name])
    assert lock.definitions == definitions_today() and lock.figures == figures_of(registry)
    assert lock.periods == registry.periods
    assert lock.figures["bleeding"]["2025Q3"] == (8, 38)
    assert lock.definitions["resolution"]["size_mm"] == 30 and lock.definitions["event window"]["days"] == 30
    assert str(lock).splitlines()[0] == f"Locked in {made}: 142 patients, 561 sessions, 2023Q1 to 2026Q3."


@pytest.mark.slow
def test_the_same_registry_gives_the_same_bytes(made, tmp_path):
    lock_registry(SYNTHETIC, tmp_path / "again")
    assert {each.name: each.read_bytes() for each in made.iterdir()} == {
        each.name: each.read_bytes() for each in (tmp_path / "again").iterdir()
    }


def test_the_manifest_holds_no_calendar_date(made):
    text = text_in(made / MANIFEST)
    assert not re.search(r"\d{4}-\d{2}-\d{2}|\d{1,2}[./]\d{1,2}[./]\d{2,4}", text)
    assert manifest_of(made)["data_lock"] == {
        "last_period": "2026Q3",
        "shortest_observed_days": 3,
        "longest_observed_days": 1353,
    }


@pytest.mark.slow
def test_an_export_is_locked_by_its_layout_and_what_is_set_aside_is_said(tmp_path):
    said = []
    lock = lock_registry(EXPORT / "unit_export.xlsx", tmp_path / "lock", layout=EXPORT / "layout.toml", say=said.append)
    assert len(lock.registry.patients) == len(
        read_registry(EXPORT / "unit_export.xlsx", layout=EXPORT / "layout.toml").patients
    )
    assert any("rows are set aside and not in the lock" in each for each in said)


@pytest.mark.slow
def test_a_table_that_the_unit_does_not_keep_is_not_in_its_lock(tmp_path):
    tables = plain_tables(read_registry(SYNTHETIC))
    del tables["reviews"]
    lock = read_lock(locked(tables, tmp_path / "lock"))
    assert not (tmp_path / "lock" / "reviews.csv").exists() and "reviews" not in lock.registry.recorded.tables
    assert "resolved within 180 days" not in lock.figures and "bleeding" in lock.figures


def test_a_folder_that_holds_other_things_is_refused_before_anything_is_read(tmp_path):
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(NecrostatsError, match=r"holds other things \(notes.txt\)"):
        lock_registry(tmp_path / "nowhere", tmp_path)
    assert [each.name for each in tmp_path.iterdir()] == ["notes.txt"]


def test_a_lock_is_never_replaced(copy):
    before = (copy / MANIFEST).read_bytes()
    with pytest.raises(NecrostatsError, match="is a lock already, and a lock is never replaced"):
        lock_registry(SYNTHETIC, copy)
    assert (copy / MANIFEST).read_bytes() == before


def test_a_source_that_cannot_be_read_leaves_nothing_behind(tmp_path):
    with pytest.raises(SourceError):
        lock_registry(tmp_path / "nowhere", tmp_path / "lock")
    assert not (tmp_path / "lock").exists()


@pytest.mark.slow
def test_a_write_that_fails_leaves_nothing_behind(tmp_path, monkeypatch):
    def full(*parts):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("necrostats.registry.lock._manifest", full)
    with pytest.raises(SourceError, match="cannot be written: no space left on device"):
        lock_registry(SYNTHETIC, tmp_path / "lock")
    assert not (tmp_path / "lock").exists()


def test_what_is_no_lock_is_refused(tmp_path):
    assert "is not there" in refused(tmp_path / "nowhere")
    assert f"holds no {MANIFEST}" in refused(tmp_path)


def test_a_file_changed_after_locking_is_named(copy):
    with (copy / "sessions.csv").open("a", encoding="utf-8") as file:
        file.write("\n")
    assert "sessions.csv was changed after it was locked" in refused(copy)


def test_a_missing_file_and_one_too_many_are_named(copy):
    (copy / "stents.csv").rename(copy / "old.csv")
    assert "stents.csv is missing" in refused(copy)
    (copy / "old.csv").rename(copy / "stents.csv")
    (copy / "findings.csv").write_text("", encoding="utf-8")
    assert "findings.csv was not locked with it" in refused(copy)


@pytest.mark.parametrize("text", ["", "{", "\x00", "[1, 2"])
def test_a_manifest_that_cannot_be_read_is_refused(copy, text):
    (copy / MANIFEST).write_text(text, encoding="utf-8")
    assert f"{MANIFEST} cannot be read" in refused(copy)


@pytest.mark.parametrize("form", [0, FORM + 1, "1", None])
def test_a_manifest_of_another_form_is_refused_with_what_to_do(copy, form):
    rewritten(copy, form=form)
    assert "another version of necrostats" in (said := refused(copy)) and "Lock that registry again" in said


def test_a_figure_or_definition_altered_in_the_manifest_is_noticed(copy):
    said = manifest_of(copy)
    said["figures"]["bleeding"]["2025Q3"] = [2, 38]
    (copy / MANIFEST).write_text(json.dumps(said), encoding="utf-8")
    assert "is not as it was written" in refused(copy)


def test_a_manifest_without_one_of_its_parts_is_refused(copy):
    said = {name: each for name, each in manifest_of(copy).items() if name != "figures"}
    (copy / MANIFEST).write_text(json.dumps({**said, "sha256": _sha256_of(said)}), encoding="utf-8")
    assert "is not as it was written" in refused(copy)
