"""Invented exports, made by somebody and laid out by others who knew only the README (first_, second_meetings)."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

from builders.truth_tables import compared
from necrostats import quarter_verdicts, words
from necrostats.registry.export.tidying import tidy
from necrostats.registry.loading import read_registry

TESTS = Path(__file__).parents[1]
EXPORTS = {
    path.name: path
    for part in ("first", "second")
    for path in sorted((TESTS / f"{part}_meetings").iterdir())
    if path.is_dir()
}
NOT_IN_THE_EXPORT = {("english_us", "solid_percent"), ("english_us", "modality")}
"""The truth has solid contents of second collections, and the modality of scans, that no cell of the export holds."""
FEWEST_RIGHT = 0.97


@pytest.fixture(scope="module", params=EXPORTS)
def tidied(request, tmp_path_factory):
    folder, to = EXPORTS[request.param], tmp_path_factory.mktemp("tidy") / "made"
    made = tidy(folder / "export", folder / "layout.toml", to)
    cells = [each for each in compared(to, folder / "truth") if (request.param, each.column) not in NOT_IN_THE_EXPORT]
    return made, to, cells


def test_there_are_thirteen_in_as_many_shapes():
    assert len(EXPORTS) == 13


def test_nearly_every_cell_is_as_the_truth_has_it(tidied):
    _, _, cells = tidied
    filled = [cell for cell in cells if cell.truth]
    right = sum(cell.right for cell in filled)
    assert right >= FEWEST_RIGHT * len(filled), [cell for cell in filled if not cell.right][:20]


def test_no_cell_is_read_as_something_else(tidied):
    assert [cell for cell in tidied[2] if cell.wrong] == []


def test_every_cell_of_the_export_is_accounted_for(tidied):
    assert tidied[0].counts.complete


@pytest.mark.parametrize("name", [name for name, path in EXPORTS.items() if (path / "planted.csv").exists()])
def test_no_planted_identity_is_in_anything_that_is_written(name, tmp_path):
    with (EXPORTS[name] / "planted.csv").open(encoding="utf-8-sig", newline="") as file:
        planted = [row["written"] for row in csv.DictReader(file) if row["written"] != "all rows"]
    telling = [part for text in planted for part in re.findall(r"[A-ZÁÉÍÓÚÖ][\w-]{7,}|\d[\d -]{7,}\d", text)]
    tidy(EXPORTS[name] / "export", EXPORTS[name] / "layout.toml", tmp_path / "made")
    written = "\n".join(path.read_text(encoding="utf-8-sig") for path in (tmp_path / "made").glob("*.csv"))
    assert len(telling) >= 4 and [part for part in telling if part in written] == []


@pytest.mark.slow
def test_what_was_tidied_is_read_and_judged_without_a_question_of_identity(tidied):
    registry = read_registry(tidied[1])
    assert not registry.findings["severity"].eq("stops").any()
    assert words(quarter_verdicts(registry))
