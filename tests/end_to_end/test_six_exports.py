"""Six invented exports in five languages and as many shapes, each cell compared with its truth (tests/exports)."""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.known_cells import known_cells
from necrostats.registry.export.layout_drafting import draft_layout
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.tidying import tidy
from necrostats.registry.loading import read_registry

EXPORTS = Path(__file__).parents[1] / "exports"
IN_LANGUAGES = ("english", "french", "german", "italian", "spanish")
MOST_LINES, FEWEST_RIGHT, FEWEST_DRAFTED = 100, 0.97, 0.8
DRAFTED = ("english", "french", "german", "spanish")
CODE_IN_A_FORM = "Codice"  # the layout takes the name of the sheet, which is the same


@pytest.fixture(scope="module", params=(*IN_LANGUAGES, "tidy"))
def tidied(request, tmp_path_factory):
    folder, to = EXPORTS / request.param, tmp_path_factory.mktemp("tidy") / "made"
    layout = folder / "layout.toml"
    made = tidy(folder / "export", layout if layout.exists() else None, to)
    return made, list(known_cells(folder / "truth.csv", to / "ledger.csv"))


def test_what_was_tidied_is_read_again_without_a_question_of_identity(tidied):
    made, _ = tidied
    registry = read_registry(made.files[0].parent)
    assert len(registry.patients) and not registry.findings["severity"].eq("stops").any()


def test_nearly_every_cell_is_read_rightly(tidied):
    _, cells = tidied
    right = sum(cell.right for cell in cells)
    assert right >= FEWEST_RIGHT * len(cells), [cell for cell in cells if not cell.right][:20]


def test_no_cell_is_read_wrongly(tidied):
    assert [cell for cell in tidied[1] if cell.wrong] == []


def test_no_cell_is_lost(tidied):
    made, cells = tidied
    assert made.counts.complete
    assert [cell for cell in cells if cell.lost and not cell.heading.startswith(CODE_IN_A_FORM)] == []


@pytest.mark.parametrize("name", IN_LANGUAGES)
def test_a_layout_of_a_hundred_lines_will_do(name):
    lines = (EXPORTS / name / "layout.toml").read_text(encoding="utf-8").splitlines()
    assert len(lines) <= MOST_LINES and parse_layout("\n".join(lines)).sheets


def test_drafts_propose_most_columns_as_the_layouts_have_them():
    found, wanted = 0, 0
    for name in DRAFTED:
        columns = _mapped((EXPORTS / name / "layout.toml").read_text(encoding="utf-8"))
        found += len(columns & _mapped(draft_layout(EXPORTS / name / "export")))
        wanted += len(columns)
    assert found >= FEWEST_DRAFTED * wanted, (found, wanted)


def _mapped(text: str) -> set[tuple[str, str, str]]:
    layout = parse_layout(text)
    return {
        (rows.table, column.heading.casefold(), column.to) for _, rows in layout.makers() for column in rows.columns
    }
