from __future__ import annotations

import importlib.util
import subprocess
import sys

import pytest

import necrostats


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
