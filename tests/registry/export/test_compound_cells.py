"""Cells that hold several things."""

from __future__ import annotations

import pytest

from necrostats.registry.export.compound_cells import read_collections, read_event, read_instruments, read_stents


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


LAMS, PIGTAIL = {"stent_type": "lumen_apposing", "diameter_mm": "15"}, {"stent_type": "double_pigtail"}


@pytest.mark.parametrize(
    ("text", "stents"),
    [
        ("LAMS 15", [LAMS]),
        ("LAMS 15 mm", [LAMS]),
        ("15mm LAMS", [LAMS]),
        ("LAMS (15 x 10 mm)", [LAMS]),
        ("LAMS", [{"stent_type": "lumen_apposing"}]),
        ("2 x DPT 7Fr", [PIGTAIL | {"caliber_fr": "7"}] * 2),
        ("2 DPT 7 Fr x 4 cm", [PIGTAIL | {"caliber_fr": "7"}] * 2),
        ("7Fr double pigtail x2", [PIGTAIL | {"caliber_fr": "7"}] * 2),
        ("LAMS 15 + 2 x DPT 7Fr", [LAMS, *[PIGTAIL | {"caliber_fr": "7"}] * 2]),
        ("LAMS 15, then double pigtail", [LAMS, PIGTAIL]),
    ],
)
def test_stents_become_a_row_each_with_type_and_size(text, stents):
    assert [dict(child) for child in read_stents(text, {}).children] == stents


@pytest.mark.parametrize("text", ["DPT 7", "2 x 3 x DPT", "wonder stent 15", "LAMS 15 or 20", "15", "LAMS 15 20"])
def test_a_stent_that_would_have_to_be_guessed_is_set_aside(text):
    assert read_stents(text, {}).problem
