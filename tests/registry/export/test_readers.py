""""""

from __future__ import annotations

import pytest

from necrostats.registry.export.cells import RawCell
from necrostats.registry.export.layout import ColumnLayout
from necrostats.registry.export.readers import Pseudonyms, read_collections, read_event, read_instruments, readings_of
from necrostats.registry.export.readings import DATE, PRIVATE


def read(text, table, to, **options):
    cell = text if isinstance(text, RawCell) else RawCell(text=text)
    column = ColumnLayout(heading="x", to=to, **options)
    return readings_of([cell], table, column, "1900", Pseudonyms())[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("~250 cc", {"yield_low": "250", "yield_high": "250", "yield_unit": "ml", "yield_approximate": "yes"}),
        ("0.3 L", {"yield_low": "300", "yield_high": "300", "yield_unit": "ml", "yield_approximate": "no"}),
        ("120 g", {"yield_low": "120", "yield_high": "120", "yield_unit": "g", "yield_approximate": "no"}),
        ("200-300", {"yield_low": "200", "yield_high": "300", "yield_unit": "ml", "yield_approximate": "no"}),
        (">500", {"yield_low": "500", "yield_unit": "ml", "yield_approximate": "no"}),
        ("<50", {"yield_low": "0", "yield_high": "50", "yield_unit": "ml", "yield_approximate": "no"}),
        ("large amt", {"yield_words": "large"}),
        ("nil", {"yield_words": "none"}),
        ("see report", {}),
        (
            "1.2 L out (1 L in)",
            {
                "yield_low": "200",
                "yield_high": "200",
                "yield_unit": "ml",
                "yield_approximate": "no",
                "lavage_in_ml": "1000",
                "yield_includes_lavage": "no",
            },
        ),
    ],
)
def test_a_yield_fills_what_the_cell_says_and_keeps_the_cell(text, expected):
    found = read(text, "sessions", "yield", unit="ml")
    assert dict(found.fills) == {**expected, "yield_as_written": text}
    assert not found.problem


@pytest.mark.parametrize("text", ["300-200", "2 x 150 ml", "1/2 L", "100 + 150", "as before", "1.200 ml"])
def test_a_yield_that_would_have_to_be_worked_out_is_set_aside_with_its_text(text):
    found = read(text, "sessions", "yield", unit="ml")
    assert found.problem
    assert set(found.fills) == {"yield_as_written"}


@pytest.mark.parametrize("text", ["", "-", "n/a", "NULL", "?", "not recorded"])
@pytest.mark.parametrize(
    ("table", "to"),
    [
        ("sessions", "yield"),
        ("sessions", "event"),
        ("patients", "sex"),
        ("sessions", "day"),
        ("collections", "size"),
        ("patients", "age_years"),
        ("sessions", "operator"),
    ],
)
def test_a_blank_says_nothing_in_any_column(text, table, to):
    assert not read(text, table, to).says_something


@pytest.mark.parametrize(
    ("text", "table", "to", "options", "expected"),
    [
        ("57 yrs", "patients", "age_years", {}, "57"),
        ("1h 10", "sessions", "minutes_total", {}, "70"),
        ("3 passes", "sessions", "passes", {}, "3"),
        ("15%", "collections", "solid_percent", {}, "15"),
        ("2 cm", "sessions", "tract_dilation_mm", {}, "20"),
        ("2", "sessions", "tract_dilation_mm", {"unit": "cm"}, "20"),
        ("1,5", "collections", "volume_ml", {"decimal": ",", "unit": "l"}, "1500"),
        ("F", "patients", "sex", {}, "female"),
        ("Moderately severe", "patients", "atlanta_severity", {}, "moderately_severe"),
        ("TRUE", "sessions", "planned", {}, "yes"),
        ("ja", "sessions", "planned", {"codes": {"ja": "yes"}}, "yes"),
        ("never heard of", "patients", "sex", {}, "never heard of"),
        ("-12", "scans", "day", {"days": True}, "-12"),
        ("2026 Q3", "sessions", "period", {}, "2026 Q3"),
    ],
)
def test_plain_columns_become_the_codebooks_text(text, table, to, options, expected):
    assert dict(read(text, table, to, **options).fills) == {to: expected}


def test_a_word_that_says_nothing_is_unknown():
    assert not read("as in clinic", "patients", "sex", codes={"as in clinic": ""}).says_something


def test_a_formula_without_a_result_is_set_aside_everywhere():
    cell = RawCell(text="", no_result=True)
    for table, to in (("sessions", "day"), ("sessions", "yield"), ("patients", "sex")):
        assert read(cell, table, to).code == "NO_RESULT"


def test_what_must_not_be_shown_is_marked():
    assert read("12/03/24", "sessions", "day", day_first=True).withheld == DATE
    assert read("12/13/14", "sessions", "day").withheld == DATE
    assert read("94", "patients", "age_years").withheld == PRIVATE
    assert read("54", "patients", "age_years").withheld == 0
    assert read("Op A", "sessions", "operator", pseudonyms=True).withheld == PRIVATE
    assert read("bled 12/03/24", "sessions", "event").withheld == DATE
    assert read("250 ml on 12/03/24", "sessions", "yield").fills == {}


def test_a_free_text_that_holds_a_date_is_set_aside():
    found = read("moved from clinic 12/03/24", "other_interventions", "reason")
    assert found.problem and not found.fills


def classes(text, **own):
    return [child["instrument_class"] for child in read_instruments(text, own).children]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("snare+net, then H2O2", ["snare", "net", "peroxide"]),
        ("Snare", ["snare"]),
        ("snares / basket", ["snare", "basket"]),
        ("suction cap and lavage", ["cap_suction", "lavage"]),
        ("net -> forceps; water jet", ["net", "forceps", "water_jet"]),
        ("?", ["unknown"]),
        ("snare\nnet", ["snare", "net"]),
    ],
)
def test_instruments_become_uses_in_the_order_in_which_they_are_written(text, expected):
    assert classes(text) == expected


@pytest.mark.parametrize("text", ["snare x2", "2x snare", "snare, net, snare", "snare (x3)"])
def test_an_instrument_counted_or_named_twice_is_one_use_and_asked_about(text):
    read = read_instruments(text, {})
    named = [child["instrument_class"] for child in read.children]
    assert named.count("snare") == 1
    assert read.question and not read.problem


@pytest.mark.parametrize("text", ["wand", "snare + wand", "snare net", "x2", "+", "snare " * 60, "12"])
def test_a_word_that_nobody_explained_sets_the_whole_cell_aside(text):
    read = read_instruments(text, {})
    assert read.problem and not read.children


def test_the_words_of_the_layout_win():
    assert classes("loop", loop="snare") == ["snare"]
    assert classes("lavage", lavage="water_jet") == ["water_jet"]


@pytest.mark.parametrize(
    ("text", "event", "asked"),
    [
        ("bled, stopped", "bleeding", False),
        ("Bleeding.", "bleeding", False),
        ("stent migrated", "stent_migration", False),
        ("perf ?microperf", "perforation", True),
        ("?bleed", "bleeding", True),
        ("possible perforation", "perforation", True),
        ("bleeding after a large breakfast elsewhere", "bleeding", True),
    ],
)
def test_one_event_is_read_with_its_doubt(text, event, asked):
    read = read_event(text, {})
    assert [child["event_type"] for child in read.children] == [event]
    assert bool(read.question) is asked
    assert read.fills["events_checked"] == "yes"


@pytest.mark.parametrize("text", ["nil", "None", "no bleeding", "No complications.", "uneventful", "no bleed or perf"])
def test_nothing_happened_means_that_somebody_looked(text):
    read = read_event(text, {})
    assert dict(read.fills) == {"events_checked": "yes"}
    assert not read.children and not read.problem


@pytest.mark.parametrize("text", ["bled + perf", "rash", "no bleeding but perforation", "see below", "x" * 300])
def test_two_events_or_no_listed_word_set_the_cell_aside(text):
    read = read_event(text, {})
    assert read.problem and not read.children and not read.fills


@pytest.mark.parametrize(
    ("text", "sites"),
    [
        ("WON x2 (lesser sac + L paracolic)", ["lesser_sac", "left_paracolic"]),
        ("WON", [""]),
        ("lesser sac", ["lesser_sac"]),
        ("WON x3", ["", "", ""]),
        ("2 collections: lesser sac, pelvic", ["lesser_sac", "pelvic"]),
        ("left paracolic gutter", ["left_paracolic"]),
    ],
)
def test_collections_become_a_row_each(text, sites):
    assert [child["site"] for child in read_collections(text, {}).children] == sites


@pytest.mark.parametrize(
    "text", ["WON x2 (lesser sac)", "WON (behind the moon)", "WON x0", "WON x2 x3", "lesser sac x12"]
)
def test_collections_that_do_not_add_up_are_set_aside(text):
    read = read_collections(text, {})
    assert read.problem and not read.children
