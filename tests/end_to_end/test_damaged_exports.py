"""Damaged exports: read with nothing lost, or refused in plain words; never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import load_workbook

from builders.damage import Base, base_in, damaged, lost, try_copy
from builders.damage_cells import CELL_DAMAGE
from necrostats.registry.export.loading import read_with_layout

COPIES = 15


@pytest.fixture(scope="module")
def base(tmp_path_factory) -> Base:
    return base_in(tmp_path_factory.mktemp("base"))


@pytest.mark.slow
@pytest.mark.parametrize("number", range(COPIES))
def test_a_damaged_copy_is_read_whole_or_refused_in_plain_words(base, tmp_path, number):
    outcome = try_copy(base, tmp_path, number)
    print(f"\ncopy {number}: {outcome.became}; {', '.join(outcome.damage)}")
    assert outcome.became in ("read", "read past the privacy check", "refused"), outcome.told


def test_an_undamaged_copy_is_read_and_the_independent_count_agrees(base, tmp_path):
    source, layout = tmp_path / "unit_export.xlsx", tmp_path / "layout.toml"
    source.write_bytes(base.book)
    layout.write_bytes(base.layout)
    assert lost(read_with_layout(source, layout), load_workbook(source)) == ""


def test_the_independent_count_notices_a_cell_that_was_not_read(base, tmp_path):
    source, layout = tmp_path / "unit_export.xlsx", tmp_path / "layout.toml"
    source.write_bytes(base.book)
    layout.write_bytes(base.layout)
    book = load_workbook(source)
    book["Clinic"]["B900"] = "12/03/24"
    assert "cells of" in lost(read_with_layout(source, layout), book)


def test_the_same_number_gives_the_same_damage_again(base, tmp_path):
    folders = [tmp_path / "a", tmp_path / "b"]
    for folder in folders:
        folder.mkdir()
    first, again = (damaged(base, folder, 3) for folder in folders)
    assert first[2] == again[2]
    assert Path(first[1]).read_bytes() == Path(again[1]).read_bytes()


def test_every_kind_of_damage_to_cells_has_a_sentence_that_says_what_it_is():
    assert all(damage.__doc__ for damage in CELL_DAMAGE)
