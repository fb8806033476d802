"""Cells of a mapped column, as the codebook has them."""

from __future__ import annotations

import pytest

from necrostats.registry.export.cells import DATE, PRIVATE, RawCell
from necrostats.registry.export.layout import ColumnLayout
from necrostats.registry.export.readers import Pseudonyms, readings_of


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


@pytest.mark.parametrize(
    ("text", "to", "options", "expected"),
    [
        ("7 Fr", "stent_size", {}, {"caliber_fr": "7"}),
        ("15 mm", "stent_size", {}, {"diameter_mm": "15"}),
        ("1.5 cm", "stent_size", {}, {"diameter_mm": "15"}),
        ("10", "stent_size", {"unit": "Fr"}, {"caliber_fr": "10"}),
        ("10", "stent_size", {}, {}),
        ("9 Fr", "diameter_mm", {}, {"diameter_mm": "3"}),
        ("2 mm", "caliber_fr", {}, {"caliber_fr": "6"}),
    ],
)
def test_a_stents_size_is_in_mm_or_in_french_gauge_and_a_third_of_a_mm_is_one(text, to, options, expected):
    assert dict(read(text, "stents", to, **options).fills) == expected


@pytest.mark.parametrize(
    ("text", "reason", "day"),
    [
        ("migrated 23/10/24", "migrated", 23),
        ("23/10/24 migrated", "migrated", 23),
        ("migrated, 23.10.2024", "migrated", 23),
        ("in situ", "in_place", None),
        ("in place", "in_place", None),
        ("planned", "planned", None),
        ("23/10/24", "", 23),
        ("-", "", None),
        ("unknown", "", None),
    ],
)
def test_the_end_of_a_stent_is_a_reason_a_date_or_both(text, reason, day):
    options = {"of_end": True, "day_first": True}
    said = read(text, "stents", "end_reason", **options)
    dated = read(text, "stents", "removed_day", **options)
    assert said.fills.get("end_reason", "") == reason
    assert (dated.date.first.day if dated.date else None) == day
    assert not said.problem and not dated.problem


def test_an_end_that_is_neither_is_set_aside_once():
    options = {"of_end": True, "day_first": True}
    assert read("went well", "stents", "end_reason", **options).problem
    assert not read("went well", "stents", "removed_day", **options).problem
    assert read("migrated 32/10/24", "stents", "removed_day", **options).problem


@pytest.mark.parametrize(("grouped", "value"), [(True, "12000"), (False, None)])
def test_blanks_part_thousands_only_where_the_layout_says_so(grouped, value):
    assert read("12 000 ml", "sessions", "yield", grouped=grouped).fills.get("yield_low") == value
