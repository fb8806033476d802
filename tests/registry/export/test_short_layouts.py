"""Layouts as short as the grammar lets them be: the exports of first_meetings read as by the layouts first written."""

from __future__ import annotations

from pathlib import Path

import pytest

from builders.exports import TOP, WIDE, read_wide, wide_line
from necrostats.errors import RegistryError
from necrostats.registry.codebook import TABLES
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.tidying import tidy

EXPORTS = Path(__file__).parents[2] / "first_meetings"
LAYOUT = "short_layout.toml"
SHORT = sorted(path.parent.name for path in EXPORTS.glob(f"*/{LAYOUT}"))
MOST_LINES = 100


def test_at_least_four_of_the_seven_are_short():
    assert len(SHORT) >= 4


@pytest.mark.parametrize("name", SHORT)
def test_a_short_layout_gives_the_same_tables_and_sets_the_same_aside(tmp_path, name):
    home = EXPORTS / name
    first, short = ((home / each).read_text(encoding="utf-8").splitlines() for each in ("layout.toml", LAYOUT))
    assert len(short) <= MOST_LINES < len(first) and max(map(len, short)) <= max(120, *map(len, first))
    written = [tmp_path / "first", tmp_path / "short"]
    for to, layout in zip(written, ("layout.toml", LAYOUT), strict=True):
        tidy(home / "export", home / layout, to)
    for file in (*(f"{table}.csv" for table in TABLES), "set_aside.csv"):
        first, short = (_lines(to / file) for to in written)
        assert short == first, file


def _lines(path: Path) -> list[str]:
    return sorted(path.read_text(encoding="utf-8").splitlines()) if path.is_file() else []


HEADED = (
    TOP
    + """
[[sheet]]
name = "DEN"
patient = "Study no"
[[sheet.rows]]
table = "patients"
as_headed = ["Age", "Index"]
[[sheet.rows]]
table = "sessions"
numbers = "1-2"
constants = { session_type = "necrosectomy" }
as_headed = ["DEN{n} date", "DEN{n} tools", "DEN{n} compl"]
columns = { "DEN{n} yield" = { to = "yield", unit = "ml" } }
"""
)


def test_headings_that_say_what_they_become_read_as_if_it_were_written(tmp_path):
    line = wide_line(DEN1_date="10/03/24", DEN1_tools="snare", DEN1_yield="100", DEN1_compl="bled")
    one, other = (read_wide(tmp_path, line, layout=layout).registry for layout in (WIDE, HEADED))
    assert all(one.tables[name].equals(other.tables[name]) for name in TABLES)


@pytest.mark.parametrize(
    ("heading", "said"), [("Blood group", "does not say by itself"), ("Collection site", "does not say by itself")]
)
def test_a_heading_that_does_not_say_it_is_a_mistake_and_never_a_guess(heading, said):
    with pytest.raises(RegistryError, match=said):
        parse_layout(HEADED.replace('"Age", "Index"', f'"Age", "Index", "{heading}"'))


def test_a_heading_that_could_be_two_things_is_asked_about_with_both():
    two = HEADED.replace(
        'table = "patients"\nas_headed = ["Age", "Index"]', 'table = "collections"\nas_headed = ["Site"]'
    )
    with pytest.raises(RegistryError, match="can be collections or site"):
        parse_layout(two)
