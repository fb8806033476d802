"""Each template in a real JupyterLab, opened and run by a real browser."""

from __future__ import annotations

import pytest

from builders import lab
from necrostats import bundled

pytestmark = pytest.mark.skipif(bool(lab.missing()), reason=f"JupyterLab is not tried in a browser: {lab.missing()}")

TEMPLATES = sorted(path.stem for path in bundled.notebooks().glob("*.ipynb"))
FEWEST = {"case_list": (0, 2), "committee_review": (0, 1)}
"""Figures and tables that a template shows at least; 1 and 4 where none is named."""
CHANGED = {
    "case_list": (("period", '"2026Q1"', "this review: 2026Q1"),),
    "case_series_abstract": (
        ("definition", '"15 mm, 90 days"', "at most 15 mm"),
        ("by", '"infection"', "confirmed, n = "),
    ),
    "committee_review": (("threshold", "11", "without counts below 11"),),
    "instrument_comparison": (
        ("by", '"extent_class"', "extent class high"),
        ("rule", '"declared primary"', "shared sessions: a shared session's yield goes to"),
    ),
    "quarterly_review": (
        ("period", '"2026Q1"', "this review: 2026Q1"),
        ("definition", '"15 mm, 90 days"', "at most 15 mm"),
    ),
    "registry_check": (("source", '"../synthetic_registry/no such folder"', "does not exist"),),
    "your_own_model": (("by", '"sex"', "male v female"),),
}


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    work, private = tmp_path_factory.mktemp("work"), tmp_path_factory.mktemp("private")
    with lab.served(lab.beside_the_data(work), private) as found:
        yield found


@pytest.fixture(scope="module")
def window():
    with lab.browser() as page:
        yield page


@pytest.fixture(scope="module")
def first_shown():
    """What each template shows as it comes, by name."""
    return {}


@pytest.fixture
def opened(address, window):
    return lambda name: lab.OpenNotebook(window, address, f"notebooks/{name}.ipynb")


@pytest.mark.parametrize("name", TEMPLATES)
def test_a_template_runs_without_an_error_and_shows_figures_and_tables(name, opened, first_shown):
    notebook = opened(name)
    notebook.run_all()
    first_shown[name] = notebook.shown
    assert notebook.errors == []
    for selector, fewest in zip(("figure > img", "table"), FEWEST.get(name, (1, 4)), strict=True):
        sizes = notebook.sizes(selector)
        assert len(sizes) >= fewest, selector
        assert all(width > 150 and height > 20 for width, height in sizes), selector
    assert notebook.of("table td:not(.number)", "text-align") == {"left"}
    assert notebook.of("table td.number", "text-align") == {"right"}


@pytest.mark.parametrize(
    ("name", "parameter", "value", "seen"), [(name, *each) for name in TEMPLATES for each in CHANGED[name]]
)
def test_one_changed_parameter_changes_what_is_shown(name, parameter, value, seen, opened, first_shown):
    notebook = opened(name)
    if name not in first_shown:
        notebook.run_all()
        first_shown[name] = notebook.shown
    notebook.write_parameter(parameter, value)
    notebook.run_all()
    assert seen in notebook.shown and seen not in first_shown[name]


def test_an_error_is_one_line_with_the_remedy_and_no_traceback(opened):
    notebook = opened("case_series_abstract")
    notebook.write_parameter("by", '"infectoin"')
    notebook.run_all()
    (said,) = notebook.errors
    assert said.startswith('"infectoin" is not a known grouping. Did you mean "infection"?')
    assert "Traceback" not in said and len(said.strip().splitlines()) == 1


def test_by_night_the_text_is_light_and_the_figures_keep_their_white_ground(tmp_path, window):
    work, private = tmp_path / "work", tmp_path / "private"
    private.mkdir()
    with lab.served(lab.beside_the_data(work), private, theme=lab.DARK) as address:
        notebook = lab.OpenNotebook(window, address, "notebooks/registry_check.ipynb")
        notebook.run_all()
        assert notebook.errors == []
        assert notebook.of("div.necrostats td, div.necrostats th, div.necrostats caption", "color") == {
            "rgb(255, 255, 255)"
        }
        assert notebook.of("figure > img", "background-color") == {"rgb(255, 255, 255)"}
