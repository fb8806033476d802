from __future__ import annotations

import pytest

from builders.html import parsed, problems, table_of
from necrostats.errors import ReportError
from necrostats.registry.codebook import TABLES
from necrostats.report import templates
from necrostats.report.guide_pages import USERS
from necrostats.report.starting import data_dictionary, start


def test_a_folder_gets_every_notebook_the_entry_workbook_and_the_data_dictionary(tmp_path):
    paths = start(tmp_path / "new")
    files = {path for path in (tmp_path / "new").rglob("*") if path.is_file()}
    assert files == set(paths)
    names = {str(path.relative_to(tmp_path / "new")) for path in files}
    notebooks = {f"{name}.ipynb" for name in templates.bundled_names()}
    pages = {f"guide/{name}.html" for name in (*USERS, "measures")}
    assert names == {
        "entry.xlsx",
        "data_dictionary.html",
        "example_layout.toml",
        "layout_guide.txt",
        *notebooks,
        *pages,
    }


def test_the_notebooks_read_the_entry_workbook_beside_them(tmp_path):
    start(tmp_path)
    for name in templates.bundled_names():
        copied, original = templates.read(tmp_path / f"{name}.ipynb"), templates.find(name)
        assert copied.parameters[0].default == "entry.xlsx"
        assert copied.parameters[1:] == original.parameters[1:]
        assert copied.notebook.cells[2:] == original.notebook.cells[2:]


def test_two_folders_hold_the_same_bytes(tmp_path):
    for one, other in zip(start(tmp_path / "a"), start(tmp_path / "b"), strict=True):
        assert one.read_bytes() == other.read_bytes()


def test_nothing_is_replaced_and_nothing_is_added_beside_it(tmp_path):
    mine = tmp_path / "entry.xlsx"
    mine.write_bytes(b"mine")
    with pytest.raises(ReportError, match=r"already holds entry\.xlsx"):
        start(tmp_path)
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"mine"]


@pytest.fixture(scope="module")
def page():
    return data_dictionary()


def test_the_page_opens_offline_and_can_be_read_aloud(page):
    assert problems(page) == []


def test_every_table_and_column_of_the_codebook_is_there_in_order_with_its_codes(page):
    tables = parsed(page).all("table")
    assert len(tables) == len(TABLES)
    for shown, table in zip(tables, TABLES.values(), strict=True):
        rows = table_of(shown)[1:]
        assert [row[0].rstrip("*") for row in rows] == list(table.names)
        assert [row[0].endswith("*") for row in rows] == [column.required for column in table.columns]
        assert [row[3] for row in rows if row[1] == "code"] == [
            ", ".join(column.codes) for column in table.columns if column.kind == "code"
        ]
        assert [row[4] for row in rows] == [" ".join(column.meaning.split()) for column in table.columns]
