from __future__ import annotations

import ast
import json

import nbformat
import pytest

import necrostats
from necrostats import bundled
from necrostats.report import templates

PATHS = sorted(bundled.notebooks().glob("*.ipynb"))
ALLOWED = (
    ast.Module, ast.ImportFrom, ast.alias, ast.Assign, ast.Expr, ast.Call, ast.keyword, ast.Name, ast.Attribute,
    ast.Constant, ast.Load, ast.Store,
)

OTHER_LIBRARIES = {
    "your_own_model": {
        "lifelines": {"CoxPHFitter"},
        "seaborn": {"stripplot"},
        "statsmodels.formula.api": {"mixedlm"},
    },
}


@pytest.fixture(params=PATHS, ids=[path.stem for path in PATHS])
def path(request):
    return request.param


@pytest.fixture
def cells(path):
    return nbformat.read(path, as_version=4).cells


def trees(cells):
    """The syntax tree of each cell of code but that of the parameters."""
    code = [cell for cell in cells if cell.cell_type == "code" and not templates.is_tagged(cell, templates.PARAMETERS)]
    return [ast.parse(cell.source) for cell in code]


def test_a_cell_holds_calls_of_the_public_names_and_no_logic_of_its_own(cells):
    for tree in trees(cells):
        odd = {type(node).__name__ for node in ast.walk(tree) if not isinstance(node, ALLOWED)}
        assert odd == set(), ast.unparse(tree)
        for statement in tree.body:
            assert isinstance(statement, ast.ImportFrom) or isinstance(statement.value, ast.Call), ast.unparse(tree)


def test_everything_imported_is_public_comes_from_the_package_or_is_listed_and_is_used(path, cells):
    imports = [line for tree in trees(cells) for line in tree.body if isinstance(line, ast.ImportFrom)]
    others = {line.module: {alias.name for alias in line.names} for line in imports if line.module != "necrostats"}
    assert others == OTHER_LIBRARIES.get(path.stem, {})
    ours = [alias.name for line in imports if line.module == "necrostats" for alias in line.names]
    assert ours == sorted(set(ours))
    assert set(ours) <= set(necrostats.__all__)
    names = {*ours, *(name for each in others.values() for name in each)}
    called = {node.func.id for tree in trees(cells) for node in ast.walk(tree)
              if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}
    assert called == names


def test_it_is_kept_without_outputs_counts_or_marks_of_a_run(path, cells):
    raw = json.loads(path.read_text(encoding="utf-8"))
    assert set(raw["metadata"]) == {"kernelspec", "language_info"}
    assert raw["metadata"]["language_info"] == {"name": "python"}
    for cell in cells:
        assert set(cell.metadata) <= {"tags"}
        if cell.cell_type == "code":
            assert (cell.outputs, cell.execution_count) == ([], None)


def test_every_cell_has_an_id_in_words_of_its_own(cells):
    ids = [cell.id for cell in cells]
    assert len(set(ids)) == len(ids)
    assert all(each.replace("-", "").isalpha() and each.islower() for each in ids)


def test_the_parameters_have_a_type_a_default_and_help(path):
    template = templates.read(path)
    assert template.parameter_names[0] == "source"
    assert all(parameter.help for parameter in template.parameters)


def test_it_has_one_title_and_ends_with_the_cautions(cells):
    text = [cell.source for cell in cells if cell.cell_type == "markdown"]
    assert [line for source in text for line in source.splitlines() if line.startswith("# ")] == [text[0]]
    assert cells[-1].source == "cautions()"


def test_the_status_line_comes_before_every_figure(cells):
    sources = [cell.source for cell in cells if cell.cell_type == "code"]
    assert sources[2].startswith("status(")
