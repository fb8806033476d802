from __future__ import annotations

import ast
import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest

import necrostats
from necrostats import cli

PACKAGE = Path(necrostats.__file__).parent
README = PACKAGE.parent / "README.md"


@pytest.mark.parametrize("name", necrostats.__all__)
def test_every_public_name_can_be_imported_and_says_what_it_is(name):
    value = getattr(necrostats, name)
    assert value.__name__ == name
    assert value.__doc__


@pytest.mark.parametrize("name", necrostats.__all__)
def test_no_public_name_is_hidden_by_a_part_of_the_package(name):
    assert importlib.util.find_spec(f"necrostats.{name}") is None


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="necrostats has no 'quarterly'"):
        _ = necrostats.quarterly


def test_public_names_are_listed_for_completion():
    assert set(necrostats.__all__) < set(dir(necrostats))


def test_importing_the_package_imports_nothing_else():
    script = "import sys, necrostats; print(sorted(name for name in sys.modules if name.startswith('necrostats')))"
    ran = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "['necrostats']"


def test_the_types_for_editors_name_every_public_name_with_its_home():
    stub = ast.parse((PACKAGE / "__init__.pyi").read_text(encoding="utf-8"))
    imports = [line for line in stub.body if isinstance(line, ast.ImportFrom)]
    named = {(line.module.removeprefix("necrostats."), alias.asname) for line in imports for alias in line.names}
    assert named == {(home, name) for home, names in necrostats._HOMES.items() for name in names}
    assert (PACKAGE / "py.typed").is_file()


def in_tables():
    """Everything in code marks in the rows of the README's tables."""
    rows = [line for line in README.read_text(encoding="utf-8").splitlines() if line.startswith("|")]
    return [code for row in rows for code in re.findall(r"`([^`]+)`", row)]


def test_every_public_name_stands_in_a_table_of_the_readme():
    assert set(necrostats.__all__) - set(in_tables()) == set()


def test_every_command_stands_in_a_table_of_the_readme():
    said = [each.split()[1] for each in in_tables() if each.startswith("necrostats ") and len(each.split()) > 1]
    commands = next(each for each in cli.parser()._actions if each.dest == "command").choices
    assert set(commands) - set(said) == set()
