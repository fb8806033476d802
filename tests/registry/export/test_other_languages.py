"""Exports as German, French, Spanish and Italian units type them: words are common practice, no source."""

from __future__ import annotations

from datetime import date

import pytest

from builders.exports import read
from necrostats.errors import RegistryError
from necrostats.registry.export.compound_cells import read_event, read_instruments
from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.quantities import read_quantity

LAYOUT = """
format = 1
language = "{language}"
{words}
[dates]
order = "day_first"
data_lock = 2026-09-30
[numbers]
decimal = ","
[fill]
"patients.vital_status" = "alive"
"patients.last_contact_day" = "last_record"
[[sheet]]
name = "DEN"
patient = "Nr"
[[sheet.rows]]
table = "patients"
columns = {{ "Age" = "age_years", "Sex" = "sex", "ASA" = "asa_class", "Day 0" = "index_date" }}
[[sheet.rows]]
table = "sessions"
numbers = "1-2"
constants = {{ session_type = "necrosectomy" }}
[sheet.rows.columns]
"DEN{{n}} date" = "day"
"DEN{{n}} tools" = "instruments"
"DEN{{n}} yield" = {{ to = "yield", unit = "ml" }}
"DEN{{n}} compl" = "event"
"""
HEADINGS = (
    "Nr",
    "Age",
    "Sex",
    "ASA",
    "Day 0",
    *(f"DEN{n} {each}" for n in (1, 2) for each in ("date", "tools", "yield", "compl")),
)
DAY_0 = date(2024, 3, 1)
LINES = {
    "de": (
        "B1",
        "67 Jahre",
        "w",
        "III",
        DAY_0,
        "10. März 2024",
        "Schlinge, dann Spülung",
        "ca. 250 ml",
        "keine Blutung",
        "15.03.24",
        "Fasszange",
        "bis zu 50",
        "Nachblutung, gestillt",
    ),
    "fr": (
        "B1",
        "67 ans",
        "F",
        "III",
        DAY_0,
        "10 mars 2024",
        "anse puis lavage",
        "env. 250 ml",
        "pas de saignement",
        "15/03/24",
        "pince",
        "jusqu'à 50",
        "saignement contrôlé",
    ),
    "es": (
        "B1",
        "67 años",
        "mujer",
        "III",
        DAY_0,
        "10 marzo 2024",
        "asa, luego lavado",
        "aprox. 250 ml",
        "sin sangrado",
        "15/03/24",
        "pinza",
        "hasta 50",
        "sangrado leve",
    ),
    "it": (
        "B1",
        "67 anni",
        "femmina",
        "III",
        DAY_0,
        "10 marzo 2024",
        "ansa, poi lavaggio",
        "circa 250 ml",
        "nessun sanguinamento",
        "15/03/24",
        "pinza",
        "fino a 50",
        "sanguinamento controllato",
    ),
}
WORDS = {"es": '[synonyms.sex]\n"M" = "female"'}


@pytest.mark.parametrize("language", LINES)
def test_a_wide_sheet_is_read_as_it_stands(tmp_path, language):
    layout = LAYOUT.format(language=language, words="").replace("[dates]", f"{WORDS.get(language, '')}\n[dates]", 1)
    registry = read(tmp_path, {"DEN": [HEADINGS, LINES[language]]}, layout).registry
    patient, sessions = registry.patients.iloc[0], registry.sessions[registry.sessions["day"] > 0]
    assert (patient["age_years"], patient["sex"], patient["asa_class"]) == (67, "female", 3)
    assert sessions["day"].tolist() == [9, 14]
    assert sessions[["yield_low", "yield_high"]].to_numpy().tolist() == [[250, 250], [0, 50]]
    assert sessions["yield_approximate"].tolist() == [True, False]
    assert sessions["events_checked"].tolist() == [True, True]
    assert registry.adverse_events["event_type"].tolist() == ["bleeding"]
    assert registry.adverse_events["day"].tolist() == [14]
    assert registry.instrument_uses["instrument_class"].tolist() == ["snare", "lavage", "forceps"]


@pytest.mark.parametrize(
    "cell",
    [
        "keine Blutung",
        "pas de saignement",
        "pas d'hémorragie",
        "sin sangrado",
        "nessun sanguinamento",
        "no bleeding seen",
        "Blutung: nein",
        "bleeding: no",
        "o.B.",
        "RAS",
        "rien",
        "nil",
        "ninguna",
        "ohne Komplikationen",
        "sin complicaciones",
        "aucune complication",
        "nessuna complicanza",
        "non",
    ],
)
def test_a_negated_event_is_never_an_event(cell):
    found = read_event(cell, {})
    assert (found.children, found.fills) == ((), {"events_checked": "yes"})


@pytest.mark.parametrize("cell", ["keine Blutung, aber Perforation", "saignement et perforation", "etwas anderes"])
def test_what_is_not_one_event_is_set_aside_and_never_half_read(cell):
    found = read_event(cell, {})
    assert found.problem and not found.children


@pytest.mark.parametrize(
    ("cell", "low", "high"),
    [
        ("200 bis 300", 200, 300),
        ("200 à 300", 200, 300),
        ("entre 200 et 300 ml", 200, 300),
        ("zwischen 100 und 200 ml", 100, 200),
        ("de 200 a 300 ml", 200, 300),
        ("tra 200 e 300 ml", 200, 300),
        ("más de 500", 500, None),
        ("plus de 500 cc", 500, None),
        ("über 500 ml", 500, None),
        ("0,5-1 L", 500, 1000),
        ("ungefähr 1,5 Liter", 1500, 1500),
        ("100 g de nécrose", 100, 100),
    ],
)
def test_amounts_are_read_whole(cell, low, high):
    found = read_quantity(cell, default_unit="ml", decimal=",")
    assert (found.low, found.high, found.problem) == (low, high, "")


@pytest.mark.parametrize("cell", ["k.A.", "ND", "s/d", "n.d.", "non renseigné", "keine Angabe", "no consta"])
def test_a_mark_for_unknown_is_blank_in_any_column(cell):
    assert read_quantity(cell, default_unit="ml").rule == "blank"


@pytest.mark.parametrize("cell", ["Schlinge + Netz", "anse et filet", "asa y red", "ansa e rete", "snare with net"])
def test_joining_words_part_instruments(cell):
    assert [each["instrument_class"] for each in read_instruments(cell, {}).children] == ["snare", "net"]


def test_in_spanish_the_layout_has_to_say_what_m_stands_for():
    with pytest.raises(RegistryError, match=r'"M" can be mujer or masculino'):
        parse_layout(LAYOUT.format(language="es", words=""))


def test_a_language_without_words_is_answered_with_those_there_are():
    with pytest.raises(RegistryError, match='"en", "da", "de", "es", "fr", "it", "nl", "no", "pl", "pt", "sv"'):
        parse_layout(LAYOUT.format(language="fi", words=""))


@pytest.mark.parametrize(
    ("written", "age"), [("90+", 90), ("> 89", 90), ("88", 88), ("67 J.", 67), ("> 60", None), ("60+", None)]
)
def test_an_open_age_is_read_only_from_ninety_on(tmp_path, written, age):
    line = ("B1", written, *LINES["fr"][2:])
    layout = LAYOUT.format(language="fr", words="")
    ages = read(tmp_path, {"DEN": [HEADINGS, line]}, layout).registry.patients["age_years"]
    assert ages.dropna().tolist() == ([] if age is None else [age])


NORTH_AND_EAST = {
    "sv": (
        "kvinna",
        "slynga, därefter spolning",
        "ca 250 ml",
        "ingen blödning",
        "tång",
        "upp till 50",
        "blödning, lätt",
    ),
    "da": ("kvinde", "slynge, derefter skylning", "ca. 250 ml", "ingen blødning", "tang", "op til 50", "blødning, let"),
    "no": (
        "kvinne",
        "slynge, deretter skylling",
        "ca. 250 ml",
        "ingen blødning",
        "tang",
        "opptil 50",
        "blødning, lett",
    ),
    "pl": ("kobieta", "pętla, potem płukanie", "ok. 250 ml", "bez krwawienia", "kleszcze", "poniżej 50", "krwawienie"),
}


@pytest.mark.parametrize("language", NORTH_AND_EAST)
def test_a_wide_sheet_of_the_north_or_east_is_read_as_it_stands(tmp_path, language):
    sex, tools, yielded, nothing, tool, below, event = NORTH_AND_EAST[language]
    line = ("B1", 67, sex, "III", DAY_0, "10.03.24", tools, yielded, nothing, "15.03.24", tool, below, event)
    registry = read(tmp_path, {"DEN": [HEADINGS, line]}, LAYOUT.format(language=language, words="")).registry
    sessions = registry.sessions[registry.sessions["day"] > 0]
    assert registry.patients["sex"].tolist() == ["female"]
    assert sessions[["yield_low", "yield_high"]].to_numpy().tolist() == [[250, 250], [0, 50]]
    assert sessions["events_checked"].tolist() == [True, True]
    assert registry.adverse_events["event_type"].tolist() == ["bleeding"]
    assert registry.instrument_uses["instrument_class"].tolist() == ["snare", "lavage", "forceps"]


@pytest.mark.parametrize(
    "cell",
    [
        *("ingen blödning", "inga komplikationer", "ingen blødning", "uden komplikationer", "uten komplikasjoner"),
        *("bez powikłań", "brak krwawienia", "bez krwawienia", "utan blödning", "nie"),
    ],
)
def test_a_negated_event_of_the_north_or_east_is_never_an_event(cell):
    found = read_event(cell, {})
    assert (found.children, found.fills) == ((), {"events_checked": "yes"})
