"""Seven invented exports, made by somebody and laid out by somebody else who knew only the README (first_meetings)."""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.truth_tables import compared
from necrostats import quarter_verdicts, words
from necrostats.registry.export.tidying import tidy
from necrostats.registry.loading import read_registry

EXPORTS = Path(__file__).parents[1] / "first_meetings"
NAMES = sorted(path.name for path in EXPORTS.iterdir() if path.is_dir())
NOT_IN_THE_EXPORT = {("english_us", "solid_percent"), ("english_us", "modality")}
"""The truth has solid contents of second collections, and the modality of scans, that no cell of the export holds."""
FEWEST_RIGHT = 0.97


@pytest.fixture(scope="module", params=NAMES)
def tidied(request, tmp_path_factory):
    folder, to = EXPORTS / request.param, tmp_path_factory.mktemp("tidy") / "made"
    made = tidy(folder / "export", folder / "layout.toml", to)
    cells = [each for each in compared(to, folder / "truth") if (request.param, each.column) not in NOT_IN_THE_EXPORT]
    return made, to, cells


def test_there_are_seven_in_as_many_shapes():
    assert len(NAMES) == 7


def test_nearly_every_cell_is_as_the_truth_has_it(tidied):
    _, _, cells = tidied
    filled = [cell for cell in cells if cell.truth]
    right = sum(cell.right for cell in filled)
    assert right >= FEWEST_RIGHT * len(filled), [cell for cell in filled if not cell.right][:20]


def test_no_cell_is_read_as_something_else(tidied):
    assert [cell for cell in tidied[2] if cell.wrong] == []


def test_every_cell_of_the_export_is_accounted_for(tidied):
    assert tidied[0].counts.complete


@pytest.mark.slow
def test_what_was_tidied_is_read_and_judged_without_a_question_of_identity(tidied):
    registry = read_registry(tidied[1])
    assert not registry.findings["severity"].eq("stops").any()
    assert words(quarter_verdicts(registry))
