from __future__ import annotations

import pytest

from builders.html import parsed, problems
from builders.notebooks import code, saved, text
from necrostats.errors import ChoiceError, ReportError, SourceError
from necrostats.report import reporting
from necrostats.report.reporting import write_report

SHOWS = "from IPython.display import HTML\nHTML(f'<p>{source.rsplit(\"/\")[-1]} at {level}</p>')"


@pytest.fixture
def source(tmp_path):
    folder = tmp_path / "unit"
    folder.mkdir()
    return folder


def test_one_html_file_named_after_template_and_period_is_written(tmp_path, source):
    template = saved(tmp_path, text("# Tiny"), text("## Level"), code(SHOWS))
    said = []
    path = write_report(
        str(template), source, folder=tmp_path / "out", period="2026Q3", parameters={"level": "0.9"}, say=said.append
    )
    assert path == tmp_path / "out" / "tiny_2026Q3.html"
    assert list(path.parent.iterdir()) == [path]
    assert list(dict.fromkeys(said)) == ["running tiny on unit", f"writing {path}"]
    assert [(each.done, each.of) for each in said[:-1]] == [(0, 2), (0, 2), (1, 2), (2, 2)]
    page = path.read_text(encoding="utf-8")
    assert problems(page) == []
    assert "unit at 0.9" in parsed(page).text
    assert parsed(page).all("h1")[0].text == "Tiny, 2026Q3"
    assert str(tmp_path) not in page


def test_accepted_columns_travel_as_a_list_so_that_a_heading_may_hold_any_sign(tmp_path, source):
    parameters = 'source: str = ""  # the data\naccepted: list = []  # columns looked at'
    template = saved(tmp_path, code("[len(accepted), *accepted]"), parameters=parameters)
    path = write_report(str(template), source, folder=tmp_path / "out", accepted=["Remarks; GP", "operator"])
    assert "[2, 'Remarks; GP', 'operator']" in parsed(path.read_text(encoding="utf-8")).text


def test_a_run_that_fails_leaves_the_old_file(tmp_path, source):
    template = saved(tmp_path, code("raise ValueError(source)"))
    old = tmp_path / "out" / "tiny.html"
    old.parent.mkdir()
    old.write_text("old")
    with pytest.raises(ReportError, match="ValueError"):
        write_report(str(template), source, folder=old.parent)
    assert [path.read_text() for path in old.parent.iterdir()] == ["old"]


def test_several_periods_are_named_by_the_first_and_the_last(tmp_path, source):
    template = saved(tmp_path, code("1"))
    path = write_report(str(template), source, folder=tmp_path, period="2025Q4..2026Q3")
    assert path.name == "tiny_2025Q4-2026Q3.html"


@pytest.mark.parametrize(
    ("wrong", "error", "said"),
    [
        ({"source": "gone"}, SourceError, "There is no gone"),
        ({"period": "spring"}, ChoiceError, '"spring" is not a period'),
        ({"parameters": {"levle": "1"}}, ChoiceError, 'Did you mean "level"'),
        ({"template": "quarterly"}, ChoiceError, 'Did you mean "quarterly_review"'),
    ],
)
def test_a_wrong_request_is_refused_before_anything_is_made(tmp_path, source, wrong, error, said):
    request = {"template": str(saved(tmp_path, code("1"))), "source": source, "folder": tmp_path / "out", **wrong}
    with pytest.raises(error, match=said):
        write_report(**request)
    assert not (tmp_path / "out").exists()


def test_a_file_is_written_whole_and_nothing_is_left_beside_it(tmp_path):
    reporting.write(b"new", tmp_path / "page.html")
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert (tmp_path / "page.html").read_bytes() == b"new"


def test_a_write_that_fails_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    target = tmp_path / "page.html"
    target.mkdir()
    (target / "old").write_text("old")
    with pytest.raises(ReportError, match=r"page\.html cannot be written"):
        reporting.write(b"new", target)
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert (target / "old").read_text() == "old"


def test_a_folder_is_made_with_its_parents(tmp_path):
    assert reporting.ready(tmp_path / "a" / "b").is_dir()


def test_a_file_in_place_of_the_folder_is_said(tmp_path):
    (tmp_path / "taken").write_text("")
    with pytest.raises(ReportError, match="taken cannot be used as a folder"):
        reporting.ready(tmp_path / "taken")
