from __future__ import annotations

import pandas as pd
import pytest

from necrostats.present.labels import drawable, in_order, plain, width_of, with_n, wrapped


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("cap_suction", "cap suction"),
        ("sessions.texture", "sessions: texture"),
        ("asa_class", "ASA class"),
        ("2026Q3", "2026Q3"),
        ("A_b", "A_b"),
    ],
)
def test_a_code_is_written_in_plain_words(code, words):
    assert plain(code) == words


def test_the_order_of_labels_keeps_categories_with_nobody_in_them():
    values = pd.Series(pd.Categorical(["b"], categories=["a", "b"], ordered=True))
    assert in_order(values) == ["a", "b"]
    assert in_order(pd.Series(["y", "x", "y"])) == ["y", "x"]


def test_a_broken_text_fits_its_width_and_keeps_every_word():
    text = "an instrument class with rather a long name"
    lines = wrapped(text, 1.0, 7.5, most=9)
    assert width_of(lines, 7.5) <= 1.0
    assert lines.replace("\n", " ") == text


def test_a_text_too_long_is_cut_within_its_width_but_keeps_its_number():
    text = with_n("an instrument class with rather a long name indeed", "17")
    lines = wrapped(text, 0.8, 7.5, most=2)
    assert width_of(lines, 7.5) <= 0.8
    assert "…" in lines
    assert lines.endswith("n\N{NO-BREAK SPACE}=\N{NO-BREAK SPACE}17")


def test_a_word_longer_than_a_line_is_cut_to_fit():
    assert width_of(wrapped("x" * 80, 0.7, 7.5, most=20), 7.5) <= 0.7


def test_a_character_without_a_glyph_becomes_a_placeholder():
    assert drawable("necrosis 壊死") == "necrosis \N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}"
