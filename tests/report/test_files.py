from __future__ import annotations

import pytest

from necrostats.errors import ReportError
from necrostats.report import files


def test_a_file_is_written_whole_and_nothing_is_left_beside_it(tmp_path):
    files.write(b"new", tmp_path / "page.html")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert (tmp_path / "page.html").read_bytes() == b"new"


def test_a_write_that_fails_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    target = tmp_path / "page.html"
    target.mkdir()
    (target / "old").write_text("old")
    with pytest.raises(ReportError, match=r"page\.html cannot be written"):
        files.write(b"new", target)
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert (target / "old").read_text() == "old"


def test_a_folder_is_made_with_its_parents(tmp_path):
    assert files.ready(tmp_path / "a" / "b").is_dir()


def test_a_file_in_place_of_the_folder_is_said(tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(ReportError, match="taken cannot be used as a folder"):
        files.ready(tmp_path / "taken")
