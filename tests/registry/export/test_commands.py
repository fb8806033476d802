from datetime import date

from builders.exports import HEADINGS, WIDE, wide_line, workbook
from necrostats.registry.export.commands import example_layout, run_draft, run_tidy
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.loading import read_registry


def test_the_example_is_a_sound_layout():
    layout = parse_layout(example_layout())
    assert [sheet.names for sheet in layout.sheets] == [("DEN",), ("Scans",), ("Deaths",)]
    assert layout.sheets[0].rows[3].overflow.column == "DEN8+"


def test_tidy_says_what_became_of_everything_and_where_it_went(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="wand")
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, line]})
    (tmp_path / "layout.toml").write_text(WIDE)
    said = []
    report, stopped = run_tidy(
        str(path), str(tmp_path / "layout.toml"), str(tmp_path / "to"), accepted=(), say=said.append
    )
    assert stopped and '"DEN1 tools": "wand"' in report
    assert "cells 5 = interpreted 4 + unknown 0 + set aside 1" in report
    assert str(tmp_path / "to" / "sessions.csv") in report
    assert said[0] == "reading unit.xlsx"


def test_a_layout_beside_an_export_is_all_that_read_registry_needs(tmp_path):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]})
    (tmp_path / "layout.toml").write_text(WIDE)
    assert len(read_registry(path, layout=tmp_path / "layout.toml").patients) == 1


def test_a_draft_is_printed(tmp_path):
    path = workbook(tmp_path / "unit.xlsx", {"DEN": [HEADINGS, wide_line()]})
    assert run_draft(str(path)).startswith("# Proposed by necrostats")
