from __future__ import annotations

import json
import os
import stat
import sys
from pathlib import Path

import nbformat
import pytest

from builders.notebooks import code, saved, text
from necrostats.errors import ReportError
from necrostats.report import running, templates


def run(folder, *cells, timeout=60, **values):
    return running.run(templates.read(saved(folder, *cells)), values, timeout=timeout)


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A home that nothing may be written to."""
    folder = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HOME", str(folder))
        patch.setenv("USERPROFILE", str(folder))
        for name in ("XDG_CACHE_HOME", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "JUPYTER_DATA_DIR", "IPYTHONDIR"):
            patch.delenv(name, raising=False)
        yield folder


@pytest.fixture(scope="module")
def ran(tmp_path_factory, home):
    look = """
import os, sys, json
from pathlib import Path
here = Path.cwd()
connection = json.loads((here / "kernel.json").read_text())
facts = [sys.executable, oct(here.stat().st_mode & 0o777), connection["transport"], str(here)]
print(json.dumps([source, level, *facts]))"""
    return run(
        tmp_path_factory.mktemp("ran"), text("# Tiny"), code(look), code("1 + 1"), source="/data/unit.xlsx", level=0.9
    )


def facts(notebook):
    (stream,) = (output for cell in notebook.cells for output in cell.get("outputs", []) if "text" in output)
    return json.loads(stream.text)


def test_the_values_given_take_the_place_of_the_defaults(ran):
    assert facts(ran)[:2] == ["/data/unit.xlsx", 0.9]


@pytest.mark.skipif(os.name == "nt", reason="no sockets in folders there")
def test_the_kernel_is_this_python_reached_through_a_folder_only_this_user_can_open(ran):
    executable, mode, transport, folder = facts(ran)[2:]
    assert (executable, mode, transport) == (sys.executable, oct(stat.S_IRWXU), "ipc")
    assert not Path(folder).exists()


def test_nothing_is_written_to_the_home_of_the_user(ran, home):
    assert list(home.rglob("*")) == []


def test_paths_times_values_and_counts_are_not_kept(ran):
    kept = nbformat.writes(ran)
    assert "papermill" not in kept
    assert "injected" not in kept
    assert '"execution_count": null' in kept
    assert [cell.execution_count for cell in ran.cells if cell.cell_type == "code"] == [None] * 3
    assert ran.cells[-1].outputs[0].execution_count is None
    assert "source: str = " in ran.cells[0].source


def test_the_text_of_an_error_raised_on_purpose_is_all_that_is_said(tmp_path, home):
    raises = 'from necrostats.errors import SourceError\nraise SourceError("unit.xlsx is empty.")'
    with pytest.raises(ReportError) as raised:
        run(tmp_path, code(raises))
    assert str(raised.value) == "unit.xlsx is empty."


def test_any_other_error_names_the_cell_and_what_it_said(tmp_path, home):
    with pytest.raises(ReportError) as raised:
        run(tmp_path, code("rate = 1 / 0\nrate"))
    said = 'tiny: the cell that begins "rate = 1 / 0" failed with ZeroDivisionError: division by zero.'
    assert str(raised.value) == said
    assert "Traceback" in str(raised.value.__cause__)


def test_a_cell_that_runs_too_long_is_stopped(tmp_path, home):
    with pytest.raises(ReportError, match="tiny: a cell ran for more than 1 seconds and was stopped"):
        run(tmp_path, code("import threading\nthreading.Event().wait()"), timeout=1)


def test_a_kernel_that_dies_is_said_to_have_stopped(tmp_path, home):
    with pytest.raises(ReportError, match="tiny: Python stopped while it ran"):
        run(tmp_path, code("import os\nos._exit(3)"))


def test_a_long_path_for_temporary_files_does_not_break_the_sockets(tmp_path, monkeypatch):
    deep = tmp_path / ("d" * 100)
    deep.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(deep))
    with running.private_folder() as folder:
        assert len(str(folder)) < 60
        assert folder.is_dir()
    assert not folder.exists()
