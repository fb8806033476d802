"""What is imported is declared, and what is declared is imported or run."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from functools import cache
from pathlib import Path

import nbformat

import necrostats
from necrostats import bundled

PACKAGE = Path(necrostats.__file__).parent
PROJECT = PACKAGE.parent / "pyproject.toml"
DISTRIBUTION = {
    "PIL": "pillow",
    "bs4": "beautifulsoup4",
    "docx": "python-docx",
    "stdnum": "python-stdnum",
    "jupyter_client": "jupyter-client",
    "zmq": "pyzmq",
}
RUN = {
    "jupyterlab": "a person opens the notebooks in it, as the README says",
    "ipykernel": "report/running.py starts it as a process of its own",
}
ONLY_IN_A_NOTEBOOK = {"lifelines", "seaborn"}  # your_own_model shows both beside our own figures


def declared():
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]
    return {re.match(r"[\w.-]+", each).group().lower() for each in project["dependencies"]}


def imported(source):
    """The distributions that a text of Python imports, in functions too."""
    nodes = [*ast.walk(ast.parse(source))]
    modules = {alias.name for node in nodes if isinstance(node, ast.Import) for alias in node.names}
    modules |= {node.module for node in nodes if isinstance(node, ast.ImportFrom) and not node.level}
    roots = {each.partition(".")[0] for each in modules} - sys.stdlib_module_names - {"necrostats"}
    return {DISTRIBUTION.get(each, each).lower() for each in roots}


@cache
def of_the_package():
    return set().union(*(imported(path.read_text(encoding="utf-8")) for path in PACKAGE.rglob("*.py")))


@cache
def of_the_notebooks():
    cells = [cell for path in bundled.notebooks().glob("*.ipynb") for cell in nbformat.read(path, as_version=4).cells]
    return set().union(*(imported(cell.source) for cell in cells if cell.cell_type == "code"))


def test_everything_imported_is_declared():
    assert (of_the_package() | of_the_notebooks()) - declared() == set()


def test_everything_declared_is_imported_or_run():
    assert declared() - of_the_package() - of_the_notebooks() == set(RUN)


def test_what_only_a_notebook_needs_is_listed():
    assert of_the_notebooks() - of_the_package() == ONLY_IN_A_NOTEBOOK


def test_what_is_run_is_named_where_it_is_run():
    assert "ipykernel_launcher" in (PACKAGE / "report" / "running.py").read_text(encoding="utf-8")
    assert "jupyter lab " in (PROJECT.parent / "README.md").read_text(encoding="utf-8")
