from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.codebook import TABLES
from necrostats.registry.quantities.vocabulary import SIZES
from necrostats.registry.text import LANGUAGES, codes_in, common_codes, defused, listed, undefused


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("=1+1", "'=1+1"),
        ("@x", "'@x"),
        ("+", "'+"),
        ("-5 ml", "'-5 ml"),
        ("-5", "-5"),
        ("+3.5", "+3.5"),
        ("'=", "''="),
        ("\tx", "'\tx"),
        ("snare", "snare"),
        ("", ""),
        ("'tis", "'tis"),
        ("＝x", "'＝x"),
    ],
)
def test_what_would_start_a_formula_gets_an_apostrophe(text, safe):
    assert defused(text) == safe


@given(st.text(alphabet="=+-@'\t\r\n1.5ax ＝", max_size=8))
@settings(deadline=None, derandomize=True, max_examples=300)
def test_any_text_comes_back_as_it_was(text):
    assert undefused(defused(text)) == text
    assert not defused(text).startswith(("=", "@", "\t", "\r"))


CODES = {
    **{column.name: column.codes for table in TABLES.values() for column in table.columns if column.kind == "code"},
    "yes_no": ("yes", "no"),
    "yield_words": SIZES,
}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("column", CODES)
def test_every_word_stands_for_a_code_of_the_codebook(language, column):
    assert set(codes_in(language, column).values()) <= set(CODES[column])


@pytest.mark.parametrize("language", LANGUAGES)
def test_each_language_has_words_for_what_every_registry_records(language):
    for column in ("sex", "vital_status", "event_type", "instrument_class", "yes_no", "yield_words"):
        assert len(codes_in(language, column)) >= 4


def test_a_word_of_one_or_two_letters_counts_only_in_the_language_that_is_named():
    assert codes_in("de", "sex")["w"] == "female"
    assert "w" not in common_codes("sex")


def test_a_word_that_two_languages_read_differently_is_not_common():
    for column in CODES:
        for word, code in common_codes(column).items():
            assert {codes_in(each, column).get(word, code) for each in LANGUAGES} == {code}


def test_english_has_no_list_of_its_own():
    assert codes_in("en", "sex") == {}


def test_accents_may_be_missing():
    assert {"über", "uber"} <= set(listed("above"))
