from __future__ import annotations

import nbformat
import pytest

from builders.notebooks import code, notebook, saved, text
from necrostats.errors import ChoiceError, ReportError
from necrostats.report import templates


@pytest.fixture
def tiny(tmp_path):
    return templates.find(str(saved(tmp_path, code("1", shows="<p>old</p>"))))


def test_each_line_of_the_parameters_cell_is_a_parameter_with_type_default_and_help(tiny):
    assert tiny.parameter_names == ("source", "period", "level")
    level = tiny.parameters[2]
    assert (level.kind, level.default, level.help) == ("float", 0.95, "of intervals")


def test_outputs_that_a_notebook_was_saved_with_are_not_part_of_the_template(tiny):
    assert all(cell.outputs == [] and cell.execution_count is None for cell in tiny.notebook.cells)


def test_a_hash_inside_a_default_is_not_taken_for_help():
    (mark,) = templates.parameters_in('mark: str = "#1 # 2"  # a mark', "x")
    assert (mark.default, mark.help) == ("#1 # 2", "a mark")


@pytest.mark.parametrize(
    "line", ["level = 0.95", "level: float", "level: dict = {}", "import os", "level: float = 1 / 2", "print(1)"]
)
def test_a_line_of_another_form_is_named_with_its_number(line):
    with pytest.raises(ReportError, match=r"tiny\.ipynb, cell of parameters, line 2: write it as name: type = default"):
        templates.parameters_in(f'source: str = ""\n{line}', "tiny.ipynb")


def test_an_unknown_parameter_is_an_error_that_names_the_nearest_one(tiny):
    with pytest.raises(ChoiceError, match=r'"perod" is not a known parameter of tiny\. Did you mean "period"\?'):
        templates.check_values(tiny, {"perod": "2026Q3"})


def test_values_get_the_type_that_was_declared(tiny):
    assert templates.check_values(tiny, {"level": "0.9", "period": "7"}) == {"level": 0.9, "period": "7"}


@pytest.mark.parametrize(
    ("kind", "text", "said"),
    [("int", "3.5", "a whole number"), ("float", "much", "a number"), ("bool", "2", "yes or no")],
)
def test_a_value_that_does_not_fit_is_shown_as_written(tmp_path, kind, text, said):
    default = {"int": "1", "float": "1.0", "bool": "True"}[kind]
    template = templates.read(saved(tmp_path, parameters=f"x: {kind} = {default}"))
    with pytest.raises(ChoiceError, match=f'"{text}" does not fit the parameter x. Write {said}'):
        templates.check_values(template, {"x": text})


@pytest.mark.parametrize(("text", "value"), [("yes", True), ("No", False), ("TRUE", True)])
def test_yes_and_no_are_read_in_any_case(tmp_path, text, value):
    template = templates.read(saved(tmp_path, parameters="x: bool = True"))
    assert templates.check_values(template, {"x": text}) == {"x": value}


def test_an_unknown_name_is_answered_with_the_list_and_the_nearest_match():
    with pytest.raises(ChoiceError, match=r'Did you mean "quarterly_review".*Choose from: .*registry_check'):
        templates.find("quaterly_review")


def test_every_bundled_template_can_be_found_by_its_name():
    assert {"quarterly_review", "registry_check"} <= set(templates.bundled_names())
    for name in templates.bundled_names():
        assert "source" in templates.find(name).parameter_names


def test_a_path_that_leads_nowhere_is_named(tmp_path):
    with pytest.raises(ReportError, match=r"There is no template .*gone\.ipynb"):
        templates.find(str(tmp_path / "gone.ipynb"))


@pytest.mark.parametrize("content", ["", "{", "[]", '{"cells": 3, "nbformat": 4, "nbformat_minor": 5}', "\udcff"])
def test_a_file_that_is_no_notebook_is_named(tmp_path, content):
    path = tmp_path / "broken.ipynb"
    path.write_bytes(content.encode("utf-8", errors="surrogateescape"))
    with pytest.raises(ReportError, match=r"broken\.ipynb cannot be read as a notebook"):
        templates.read(path)


def test_a_notebook_without_a_cell_of_parameters_is_no_template(tmp_path):
    path = tmp_path / "bare.ipynb"
    bare = notebook(text("# Bare"))
    bare.cells = bare.cells[1:]
    nbformat.write(bare, path)
    with pytest.raises(ReportError, match=r'bare\.ipynb has 0 cells tagged "parameters"'):
        templates.read(path)
