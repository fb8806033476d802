"""The printed reference of a layout holds what a layout may hold."""

from __future__ import annotations

import tomllib

import pytest

from builders.exports import WIDE
from necrostats.cli import main
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.layout import targets
from necrostats.registry.export.layout_guide import OPTIONS, SECTIONS, TOP, documented, layout_guide
from necrostats.registry.export.layout_keys import Keys
from necrostats.registry.export.layout_reading import parse_layout

OVERFLOW = '[sheet.rows.overflow]\ncolumn = "DEN3+"\nparts = ["DEN{n} date"]\n'


def test_every_key_that_is_read_is_explained(monkeypatch):
    taken = set()
    take = Keys.take

    def noted(self, key):
        if not self.place.startswith(("synonyms", "fill")) and not self.place.endswith(
            (".constants", ".codes", ".columns")
        ):
            taken.add(key)
        return take(self, key)

    monkeypatch.setattr(Keys, "take", noted)
    parse_layout(WIDE + OVERFLOW)
    assert (
        taken
        - documented()
        - {"sheet", "rows", "synonyms", "fill", "dates", "numbers", "ids", "collections", "words", "overflow"}
        == set()
    )


@pytest.mark.parametrize("table", TABLES)
def test_every_target_is_explained(table):
    text = layout_guide().partition(f'Targets where table = "{table}"')[2].partition("\n\n")[0]
    assert [line.split()[0] for line in text.strip().splitlines()] == list(targets(table))


def test_every_example_is_a_line_of_toml():
    for keys in (TOP, *SECTIONS.values()):
        for _, _, example in keys:
            assert tomllib.loads(example)
    for _, _, example in OPTIONS:
        assert tomllib.loads(f"x = {example}")["x"]["to"]


def test_the_command_prints_it(capsys):
    assert main(["layout-guide"]) == 0
    assert capsys.readouterr().out.strip() == layout_guide().strip()
