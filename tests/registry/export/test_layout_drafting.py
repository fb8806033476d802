import re
from datetime import date
from pathlib import Path

import pytest

from builders.exports import HEADINGS, wide_line, workbook
from necrostats.errors import RegistryError, SourceError
from necrostats.registry.export.layout_drafting import draft_layout
from necrostats.registry.export.layout_reading import parse_layout, read_layout
from necrostats.registry.export.layout_text import GUESS
from necrostats.registry.export.loading import read_with_layout
from necrostats.registry.text import folded


def export(tmp_path, **more):
    line = wide_line("1", 50, "28/02/24", DEN1_date=date(2024, 3, 8), DEN1_tools="snare", DEN2_date=date(2024, 3, 20))
    sheets = {
        "DEN": [[*HEADINGS, "DEN3+", "Remark"], [*line, "", "x"]],
        "Deaths": [["Study no", "Date of death"], ["1", date(2024, 5, 1)]],
        **more,
    }
    return workbook(tmp_path / "unit.xlsx", sheets)


def test_a_layout_is_proposed_from_headings_and_contents(tmp_path):
    layout = parse_layout(draft_layout(export(tmp_path)))
    wide, deaths = layout.sheets
    assert wide.patient == ("Study no",)
    assert [(rows.table, rows.numbers) for rows in wide.rows] == [("patients", ()), ("sessions", (1, 2))]
    assert {column.heading: column.to for column in wide.rows[1].columns} == {
        "DEN{n} date": "day",
        "DEN{n} tools": "instruments",
        "DEN{n} yield": "yield",
        "DEN{n} compl": "event",
    }
    assert wide.rows[1].overflow.column == "DEN3+"
    assert deaths.rows[0].columns[0].to == "death_day"
    assert {column.day_first for column in wide.rows[1].columns} == {True}


def test_every_guess_is_marked_as_one(tmp_path):
    drafted = draft_layout(export(tmp_path))
    for line in drafted.splitlines():
        if " = " in line and not line.startswith(("#", "name =", "numbers =", "format =", "ignore = []")):
            assert GUESS in line
    assert '"Remark"' in re.search(r"# not guessed.*", drafted)[0]


def test_cells_are_shown_only_where_they_read_as_what_is_guessed_and_are_no_date_code_or_free_text(tmp_path):
    line = wide_line("Q7", 93, "28/02/24", DEN1_tools="snare", DEN1_compl="told Mrs X", DEN2_tools="net")
    lines = [
        [*HEADINGS, "Operator"],
        [*line, "the old one"],
        [*wide_line("Q8", 95, "29/02/24", DEN1_compl="nil"), "me"],
    ]
    drafted = draft_layout(workbook(tmp_path / "unit.xlsx", {"DEN": lines}))
    assert '"snare"' in drafted
    for hidden in ("2024", "28/02", "Q7", "93", "95", "Mrs", "the old one"):
        assert hidden not in drafted


def test_the_draft_can_be_used_once_it_is_completed(tmp_path):
    path = export(tmp_path)
    drafted = draft_layout(path).replace("# data_lock = 2026-09-30", "data_lock = 2026-09-30")
    found = read_with_layout(path, parse_layout(drafted))
    assert found.registry.sessions["day"].tolist() == [0, 9, 21]
    assert found.registry.patients["death_day"].tolist() == [63]


@pytest.mark.parametrize("sheets", [{"S": [["x"]]}, {"S": []}, {"S": [[1, 2], [3, 4]]}, {"A": [["Date"]], "B": []}])
def test_an_export_without_anything_to_guess_still_gives_a_text(tmp_path, sheets):
    assert draft_layout(workbook(tmp_path / "a.xlsx", sheets)).startswith("# Proposed")


def test_a_heading_that_is_an_identifier_stops(tmp_path):
    path = workbook(tmp_path / "a.xlsx", {"S": [["No", "anna@example.org"], [1, 2]]})
    with pytest.raises(RegistryError) as caught:
        draft_layout(path)
    assert "anna" not in str(caught.value)


def test_a_file_that_cannot_be_read_is_a_plain_error(tmp_path):
    with pytest.raises(SourceError):
        draft_layout(tmp_path / "none.xlsx")


EXPORT = Path(__file__).parents[3] / "synthetic_registry" / "export"
ALIKE = {"stent_size": "diameter_mm", "removed_day": "end", "end_reason": "end"}


def targets(layout):
    """(sheet, heading) → target of every mapped column."""
    return {
        (folded(name), folded(column.heading)): ALIKE.get(column.to, column.to)
        for sheet, rows in layout.makers()
        for name in sheet.names
        for column in rows.columns
    }


def test_nine_columns_in_ten_of_the_invented_units_export_are_proposed_as_its_layout_has_them():
    wanted = targets(read_layout(EXPORT / "layout.toml"))
    proposed = targets(parse_layout(draft_layout(EXPORT / "unit_export.xlsx")))
    right = sum(proposed.get(place) == target for place, target in wanted.items())
    assert right >= 0.9 * len(wanted)


GERMAN = [
    ["Pat.-Nr.", "Alter", "Geschlecht", "Datum Indexdrainage", "Lokalisation", "Größe (mm)", "Solider Anteil (%)"],
    ["A1", "61 J.", "weiblich", "03.02.2024", "Bursa omentalis", "120 x 80", "40"],
    ["A2", "55 J.", "männlich", "28.03.2024", "kleines Becken", "90 x 60", "20"],
]
GERMAN_SESSIONS = [
    ["Pat.-Nr.", "Datum", "Instrumente", "Menge (ml)", "Konsistenz", "Komplikation"],
    ["A1", "13.02.2024", "Schlinge, dann Spülung", "ca. 250", "zäh", "keine"],
    ["A1", "20.02.2024", "Fasszange", "0,2 L", "weich", "Nachblutung"],
    ["A2", "05.04.2024", "Netz", "nichts", "haftend", "k.A."],
]


def test_headings_and_words_of_another_language_are_known(tmp_path):
    path = workbook(tmp_path / "a.xlsx", {"Stammdaten": GERMAN, "Nekrosektomien": GERMAN_SESSIONS})
    layout = parse_layout(draft_layout(path))
    assert {heading: target for (_, heading), target in targets(layout).items()} == {
        "alter": "age_years",
        "geschlecht": "sex",
        "datum indexdrainage": "index_date",
        "lokalisation": "collections",
        "grosse (mm)": "size",
        "solider anteil (%)": "solid_percent",
        "datum": "day",
        "instrumente": "instruments",
        "menge (ml)": "yield",
        "konsistenz": "texture",
        "komplikation": "event",
    }
    assert {column.day_first for _, rows in layout.makers() for column in rows.columns} == {True}


def test_sheets_of_one_form_are_told_as_one_and_a_session_may_name_the_patient(tmp_path):
    year = [["Study no", "Session ID", "Date", "Yield"], ["1", "S1", date(2024, 3, 8), "100 ml"]]
    path = workbook(
        tmp_path / "a.xlsx",
        {
            "Patients": [
                ["Study no", "Age", "Index drainage"],
                ["1", 50, date(2024, 3, 1)],
                ["2", 60, date(2024, 4, 1)],
            ],
            "2024": year,
            "2025": year,
            "Tools": [["Session ID", "Instrument", "Order"], ["S1", "snare", 1], ["S1", "net", 2]],
            "Legend": [["Code", "Meaning"], ["1", "yes"]],
        },
    )
    layout = parse_layout(draft_layout(path))
    assert [sheet.names for sheet in layout.sheets] == [("Patients",), ("2024", "2025"), ("Tools",)]
    assert layout.sheets[2].session == "Session ID"
    assert layout.sheets[2].rows[0].table == "instrument_uses"
    assert layout.ignore_sheets == ("Legend",)
    index = [rows.index or rows.holds("index_date") for _, rows in layout.makers()]
    assert sum(map(bool, index)) == 1


def test_a_study_code_under_a_heading_nobody_knows_is_found_by_the_codes_of_the_other_sheets(tmp_path):
    path = workbook(
        tmp_path / "a.xlsx",
        {
            "Kranke": [
                ["Kürzel", "Alter", "Erstdrainage"],
                ["A-01", 50, date(2024, 3, 1)],
                ["A-02", 61, date(2024, 3, 5)],
            ],
            "Sitzungen": [
                ["Patient", "Datum", "Menge"],
                ["A01", date(2024, 3, 8), "100 ml"],
                ["A02", date(2024, 3, 9), "50 ml"],
            ],
        },
    )
    layout = parse_layout(draft_layout(path))
    assert {sheet.names[0]: sheet.patient for sheet in layout.sheets} == {
        "Kranke": ("Kürzel",),
        "Sitzungen": ("Patient",),
    }


@pytest.mark.parametrize(
    ("heading", "opposite"),
    [
        ("Symptoms", True),
        ("Symptom free", False),
        ("Beschwerden", True),
        ("beschwerdefrei", False),
        ("Asymptomatic", False),
    ],
)
def test_a_column_of_symptoms_is_drafted_with_its_answers_turned_round(tmp_path, heading, opposite):
    clinic = [["Study no", "Date", heading], ["A1", date(2024, 5, 1), "yes"], ["A2", date(2024, 5, 2), "no"]]
    people = [["Study no", "Age", "Index drainage"], ["A1", 50, date(2024, 3, 1)], ["A2", 60, date(2024, 3, 2)]]
    text = draft_layout(workbook(tmp_path / "a.xlsx", {"Patients": people, "Clinic": clinic}))
    turned = 'codes = { "yes" = "no", "no" = "yes" }'
    assert f'"{heading}" = ' in text and (turned in text) == opposite


@pytest.mark.parametrize(
    ("written", "lines"),
    [
        (["7", "008"], ['form = "WON-000"']),
        (["won7", "WON 008"], ['form = "WON-000"', 'ignore = ["blanks", "hyphens"]']),
        (["7.0", "won8"], ['form = "WON-000"', 'ignore = ["decimals", "hyphens"]']),
        (["WON-007"], []),
    ],
)
def test_the_form_and_the_habits_that_codes_of_other_sheets_need_are_proposed(tmp_path, written, lines):
    sheets = {
        "DEN": [HEADINGS, wide_line("WON-007"), wide_line("WON-008")],
        "Scans": [["Study no", "Scan date", "Size mm"], *([each, date(2024, 4, 1), "30 x 20"] for each in written)],
    }
    drafted = draft_layout(workbook(tmp_path / "unit.xlsx", sheets))
    ids = drafted.partition("[ids]\n")[2].partition("\n\n")[0].splitlines()
    assert [line.partition("  #")[0] for line in ids] == lines
