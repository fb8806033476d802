"""Damaged exports: read with nothing lost, or refused in plain words; never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.conservation import account
from builders.damage import FIRST_MEETINGS, WRONG, Base, base_of, damaged, try_copy
from builders.damage_cells import CELL_DAMAGE
from necrostats.registry.export.tidying import tidy

COPIES = 8
EXPORTS = [FIRST_MEETINGS / name for name in ("dutch", "french_csv", "english_us")]


@pytest.fixture(scope="module")
def base() -> Base:
    return base_of(EXPORTS[0])


@pytest.mark.parametrize("number", range(COPIES))
def test_a_damaged_copy_is_tidied_with_nothing_lost_or_refused_in_plain_words(tmp_path, number):
    outcome = try_copy(base_of(EXPORTS[number % len(EXPORTS)]), tmp_path, number)
    print(f"\ncopy {number}: {outcome.became}; {', '.join(outcome.damage)}")
    assert outcome.became not in WRONG, outcome.told


@pytest.fixture(scope="module", params=["french_csv", "spanish_forms"])
def tidied(request, tmp_path_factory) -> tuple[Path, Path, Path]:
    home, to = FIRST_MEETINGS / request.param, tmp_path_factory.mktemp("tidy") / "made"
    tidy(home / "export", home / "layout.toml", to)
    return home / "export", home / "layout.toml", to


def test_every_filled_cell_of_an_undamaged_export_is_found_again_by_a_count_that_knows_nothing_of_ours(tidied):
    found = account(*tidied)
    assert found.lost == []
    assert found.became["in a tidy table"] > 900


@pytest.mark.parametrize(
    ("name", "of", "instead"),
    [
        ("sessions.csv", "necrosectomy", "drainage"),
        ("sessions.csv", "necrosectomy", ""),
        ("ledger.csv", ",age_years,", ""),
    ],
    ids=["a value that is another", "a row that is gone", "a line of the ledger gone"],
)
def test_the_independent_count_notices_what_is_lost(tmp_path, name, of, instead):
    source, layout, to = (
        FIRST_MEETINGS / "french_csv/export",
        FIRST_MEETINGS / "french_csv/layout.toml",
        tmp_path / "made",
    )
    tidy(source, layout, to)
    lines = (to / name).read_text(encoding="utf-8").splitlines(keepends=True)
    at = next(number for number, line in enumerate(lines) if number and of in line)
    lines[at] = lines[at].replace(of, instead) if instead else ""
    (to / name).write_text("".join(lines), encoding="utf-8")
    assert account(source, layout, to).lost


def test_the_same_number_gives_the_same_damage_again(base, tmp_path):
    folders = [tmp_path / "a", tmp_path / "b"]
    for folder in folders:
        folder.mkdir()
    first, again = (damaged(base, folder, 3) for folder in folders)
    assert first[2] == again[2]
    assert Path(first[1]).read_bytes() == Path(again[1]).read_bytes()


def test_every_kind_of_damage_to_cells_has_a_sentence_that_says_what_it_is():
    assert all(damage.__doc__ for damage in CELL_DAMAGE)
