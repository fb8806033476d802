"""Amounts as written: what each becomes, and that nothing is read which cannot be read whole."""

from __future__ import annotations

from decimal import Decimal

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from necrostats.errors import ChoiceError
from necrostats.registry.quantities import is_blank, read_quantity


def _span(text, **about):
    found = read_quantity(text, **{"default_unit": "ml", **about})
    return found.low, found.high, found.unit


def _value(quantity):
    return (
        quantity.low,
        quantity.high,
        quantity.unit,
        quantity.approximate,
        quantity.words,
        quantity.lavage_ml,
        quantity.includes_lavage,
    )


@pytest.mark.parametrize(
    ("text", "low", "high", "unit"),
    [
        ("250ml", 250, 250, "ml"),
        ("250 mL", 250, 250, "ml"),
        ("250 ml.", 250, 250, "ml"),
        ("0.3 L", 300, 300, "ml"),
        ("0,3 l", 300, 300, "ml"),
        (".5 L", 500, 500, "ml"),
        ("3 dl", 300, 300, "ml"),
        ("25 cl", 250, 250, "ml"),
        ("250 cm³", 250, 250, "ml"),
        ("120 g", 120, 120, "g"),
        ("120 gm", 120, 120, "g"),
        ("0.12 kg", 120, 120, "g"),
        ("80%", 80, 80, "percent_cleared"),
        ("80 per cent cleared", 80, 80, "percent_cleared"),
        ("0", 0, 0, "ml"),
        ("200-300", 200, 300, "ml"),
        ("200–300 g", 200, 300, "g"),
        ("200 to 300", 200, 300, "ml"),
        ("between 200 and 300 cc", 200, 300, "ml"),
        ("from 200 to 300", 200, 300, "ml"),
        ("200..300", 200, 300, "ml"),
        ("0.5-1 L", 500, 1000, "ml"),
        ("200 ml - 0.3 L", 200, 300, "ml"),
        ("200 ml - 300", 200, 300, "ml"),
        (">500", 500, None, "ml"),
        ("≥500", 500, None, "ml"),
        ("at least 500", 500, None, "ml"),
        ("more than 0.5 L", 500, None, "ml"),
        ("over 500", 500, None, "ml"),
        ("500+ ml", 500, None, "ml"),
        ("500 ml or more", 500, None, "ml"),
        ("<50", 0, 50, "ml"),
        ("≤ 50", 0, 50, "ml"),
        ("up to 50", 0, 50, "ml"),
        ("under 50 g", 0, 50, "g"),
    ],
)
def test_a_plain_amount_is_read_whole(text, low, high, unit):
    found = read_quantity(text, default_unit="ml")
    assert (found.low, found.high, found.unit) == (low, high, unit)
    assert (found.problem, found.question, found.approximate, found.words) == ("", "", False, "")
    assert found.as_written == text


@pytest.mark.parametrize(
    "text",
    [
        "~250 cc",
        "≈250",
        "about 250 ml",
        "ca. 250",
        "approx. 250",
        "approx.250",
        "c. 250",
        "c.250",
        "250 ml approx.",
        "± 250",
    ],
)
def test_an_approximate_amount_keeps_its_number_and_is_marked(text):
    found = read_quantity(text, default_unit="ml")
    assert (found.low, found.high, found.approximate) == (250, 250, True)


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("300-200", "runs from high to low"),
        ("500 - 1 L", "runs from high to low"),
        ("2 x 150 ml", "is a product"),
        ("2*150", "is a product"),
        ("100 + 150", "is a sum"),
        ("100 ml + 150 ml", "is a sum"),
        ("1/2 L", "is a fraction or two numbers"),
        ("½ L", "is written as a fraction"),
        ("1½ L", "is written as a fraction"),
        ("-50", "is negative"),
        ("−50 ml", "is negative"),
        ("1e3", "uses exponent notation"),
        ("2.5E+02", "uses exponent notation"),
        ("250 ± 50", "gives a spread, not an amount"),
        ("200 ml - 300 g", "mixes two kinds of unit"),
        ("0.2 L - 300", "gives its second end no unit"),
        (">500-600", "has both a limit and a range"),
        ("200-300-400", "has more than two ends"),
        (">0", "sets a limit of 0, which says nothing"),
        ("150 ml, 200 ml", "holds more than one amount"),
        ("250\n300", "holds more than one amount"),
        ("200 300 ml", "holds more than one amount"),
        ("007", "starts with a zero, as codes and dates do"),
        ("44071234567", "has more digits than an amount can have"),
        ("9999999 L", "has more digits than an amount can have"),
        ("120 %", "is more than 100 %"),
        ("80% solid", "is a percentage of something other than what was cleared"),
        ("as before", "points to another cell instead of giving a value"),
        ('"', "points to another cell instead of giving a value"),
        ("#REF!", "is the error of a formula"),
        ("#N/A", "is the error of a formula"),
        ("1 L in", "does not say what came out"),
    ],
)
def test_what_is_not_one_plain_amount_is_set_aside_with_its_reason(text, problem):
    found = read_quantity(text, default_unit="ml")
    assert found.problem == problem
    assert (found.low, found.high, found.words, found.lavage_ml, found.rule) == (None, None, "", None, "set aside")


@pytest.mark.parametrize(
    "text",
    [
        "250 ml and blood",
        "not 250 ml",
        "80% left",
        "250 mg",
        "250?",
        "10²",
        "l50",
        "1O0",
        "1·5 L",
        "ml",
        "12.03.2024",
        "2024-03-12",
        "small to moderate",
        "none, 250 ml",
        "250 ml/min",
        "> 500 < 600",
        "250 ml lavage",
        "x",
        "+++",
        "minimal 2 x 5",
        "=250",
        "250 ml 3 passes",
        "blood loss 50 ml",
        "half a litre",
        "C250",
        "c12",
        "250 ml plus pus",
        "30 out of 40 in",
    ],
)
def test_what_is_not_understood_to_its_end_gives_no_number_and_no_word(text):
    found = read_quantity(text, default_unit="ml")
    assert found.problem
    assert (found.low, found.high, found.words, found.lavage_ml) == (None, None, "", None)


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("minimal", "trace"),
        ("scant", "trace"),
        ("Trace", "trace"),
        ("small", "small"),
        ("a little", "small"),
        ("a small amount of pus", "small"),
        ("moderate", "moderate"),
        ("large amt", "large"),
        ("lots", "large"),
        ("nil", "none"),
        ("NONE", "none"),
        ("no debris", "none"),
    ],
)
def test_a_word_stays_a_word_and_never_makes_a_number(text, word):
    found = read_quantity(text, default_unit="ml")
    assert (found.words, found.low, found.high, found.problem) == (word, None, None, "")


def test_a_layout_may_add_words_but_no_new_size():
    assert read_quantity("+++", words={"+++": "large"}).words == "large"
    assert read_quantity("bit of pus", words={"a bit": "small", "Bit": "small"}).words == "small"
    with pytest.raises(ChoiceError, match="huge"):
        read_quantity("+++", words={"+++": "huge"})


@pytest.mark.parametrize(
    "text", ["250 ml, thick pus", "250 ml thick, necrotic debris", "moderate, 250 ml", "250 ml (small)"]
)
def test_a_harmless_remark_lets_the_number_stand(text):
    assert _span(text) == (250, 250, "ml")


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("1,5", None, 1.5),
        ("1,50", None, 1.5),
        ("0,300", None, 0.3),
        ("0.300", None, 0.3),
        ("1200.500", None, 1200.5),
        ("1,200.5", None, 1200.5),
        ("1.200,5", None, 1200.5),
        ("1,200,300", None, 1_200_300),
        ("1'200", None, 1200),
        ("12\u2009000", None, 12_000),
        ("12\u202f000,5", None, 12_000.5),
        ("1.200", ".", 1.2),
        ("1.200", ",", 1200),
        ("1,200", ",", 1.2),
        ("1,200", ".", 1200),
        ("333.3333333", None, 333.3333333),
    ],
)
def test_a_decimal_sign_is_read_where_the_number_has_one_reading(text, decimal, value):
    assert _span(text, decimal=decimal) == (value, value, "ml")


@pytest.mark.parametrize(
    ("text", "decimal"),
    [
        ("1.200", None),
        ("1,200", None),
        ("1200,500", None),
        ("1.5", ","),
        ("1,5", "."),
        ("1.200,5", "."),
        ("1,2,3", None),
        ("1.200.300", "."),
        ("1,200.300,5", None),
        (",5", None),
        ("12.34.56", None),
        ("0.200.300", None),
    ],
)
def test_a_number_with_two_readings_or_against_the_layout_is_set_aside(text, decimal):
    found = read_quantity(text, default_unit="ml", decimal=decimal)
    assert found.problem and found.low is None


@pytest.mark.parametrize("text", ["1 200 ml", "1\u00a0200 ml"])
def test_thousands_parted_by_an_ordinary_space_are_read_and_asked_about(text):
    found = read_quantity(text)
    assert (found.low, found.high) == (1200, 1200)
    assert "thousands" in found.question


@pytest.mark.parametrize("text", ["٢٥٠ ml", "２５０ｍｌ", "250㎖", "2\u200b50\u00a0ml", "२५० ml"])
def test_digits_of_every_script_and_unseen_characters_read_alike(text):
    assert _span(text, default_unit=None) == (250, 250, "ml")


@pytest.mark.parametrize(
    "text",
    [
        "1.2 L out (1 L in)",
        "1200 out/1000 in",
        "out 1200 / in 1000",
        "in 1000, out 1200",
        "1 L in, 1.2 L out",
        "out: 1200; in: 1000",
    ],
)
def test_out_and_in_give_the_yield_without_the_lavage(text):
    found = read_quantity(text, default_unit="ml")
    assert (found.low, found.high, found.unit, found.lavage_ml, found.includes_lavage) == (200, 200, "ml", 1000, False)


@pytest.mark.parametrize("text", ["800 ml out (1 L in)", "1 L out (1 L in)"])
def test_no_more_out_than_in_leaves_the_yield_unknown_and_asks(text):
    found = read_quantity(text)
    assert (found.low, found.high, found.lavage_ml, found.includes_lavage) == (None, None, 1000, None)
    assert "left unknown" in found.question and not found.problem


@pytest.mark.parametrize(
    "text", ["120 g out (1 L in)", "1-2 L out (1 L in)", ">2 L out, 1 L in", "1 L out (1 L in, 1 L in)"]
)
def test_out_and_in_are_read_only_as_plain_volumes(text):
    found = read_quantity(text)
    assert found.problem and found.low is None and found.lavage_ml is None


def test_out_and_in_without_a_unit_anywhere_are_set_aside():
    assert read_quantity("1200 out, 1000 in").problem


def test_lavage_included_or_not_is_kept_with_the_number():
    assert read_quantity("1200 ml incl lavage").includes_lavage is True
    assert read_quantity("200 ml net").includes_lavage is False
    assert read_quantity("200 ml").includes_lavage is None


@pytest.mark.parametrize(
    "cell",
    [
        "",
        "  ",
        "-",
        "—",
        "n/a",
        "NA",
        "NULL",
        "NaN",
        ".",
        "?",
        "unk",
        "not recorded",
        None,
        float("nan"),
        pd.NA,
        pd.NaT,
    ],
)
def test_a_blank_is_unknown_and_not_zero(cell):
    found = read_quantity(cell, default_unit="ml")
    assert (found.rule, found.low, found.words, found.problem, found.question) == ("blank", None, "", "", "")
    assert is_blank(cell)


def test_see_report_is_unknown_with_its_text_kept():
    found = read_quantity("See report")
    assert (found.rule, found.low, found.problem, found.as_written) == ("text kept", None, "", "See report")


def test_a_written_unit_wins_over_the_default_and_grams_are_never_millilitres():
    assert _span("120 g", default_unit="ml") == (120, 120, "g")
    assert _span("0.3 L", default_unit="g") == (300, 300, "ml")
    assert _span("1.5", default_unit="L") == (1500, 1500, "ml")
    assert _span("80", default_unit="percent_cleared") == (80, 80, "percent_cleared")


def test_a_number_without_any_unit_is_kept_and_asked_about():
    found = read_quantity("250")
    assert (found.low, found.unit) == (250, "") and "no unit" in found.question


def test_a_column_of_millilitres_only_takes_litres_and_refuses_grams():
    assert _span("250", ml_only=True, default_unit="g") == (250, 250, "ml")
    assert _span("0.3 L", ml_only=True) == (300, 300, "ml")
    refused = read_quantity("120 g", ml_only=True)
    assert refused.low is None and "ml only" in refused.problem


def test_an_unknown_default_unit_is_a_choice_error_with_the_list():
    with pytest.raises(ChoiceError, match="ml, l, g, kg"):
        read_quantity("250", default_unit="ounces")


def test_a_number_cell_needs_no_decimal_sign_to_be_declared():
    assert _span(1.125) == (1.125, 1.125, "ml")
    assert _span(250.0, decimal=",") == (250, 250, "ml")
    assert _span(0.00001) == (0.00001, 0.00001, "ml")
    assert read_quantity(True).problem


def test_neither_repr_nor_reasons_show_what_was_written():
    for text in ("Zx999 250", "250 ml Zx999", "Zx999"):
        found = read_quantity(text)
        assert found.problem and "Zx999" not in repr(found) and "zx999" not in found.problem.casefold()


_UNITS = st.sampled_from([None, "ml", "l", "g", "percent_cleared"])
_AMOUNT_LIKE = st.lists(
    st.sampled_from(
        [
            "0",
            "1",
            "2",
            "50",
            "200",
            "300",
            "1.2",
            "1,5",
            "1.200",
            "0.300",
            ".5",
            "1000",
            "½",
            "٢٥",
            "1e3",
            " ",
            " ",
            " ",
            "ml",
            "L",
            "g",
            "%",
            "kg",
            "-",
            "–",
            "to",
            "..",
            "~",
            "about",
            ">",
            "≤",
            "up to",
            "+",
            "x",
            "/",
            "(",
            ")",
            ",",
            ";",
            "out",
            "in",
            "incl lavage",
            "net",
            "small",
            "none",
            "thick pus",
            "of",
            "\n",
            "\u2009",
            "or more",
            "between",
            "and",
            "ca.",
        ]
    ),
    max_size=9,
).map("".join)


@given(text=st.one_of(st.text(max_size=60), _AMOUNT_LIKE), unit=_UNITS, decimal=st.sampled_from([None, ".", ","]))
@example(text="1" * 100_000, unit=None, decimal=None)
@example(text="(" * 100_000, unit=None, decimal=None)
@example(text="1.234567890123456789", unit="l", decimal=None)
@settings(deadline=None, derandomize=True, max_examples=1500)
def test_any_text_gives_a_quantity_and_its_plain_form_reads_back_the_same(text, unit, decimal):
    found = read_quantity(text, default_unit=unit, decimal=decimal)
    assert found.as_written == text
    if found.problem:
        assert _value(found) == (None, None, "", False, "", None, None) and found.rule == "set aside"
    if found.numeric:
        assert found.low >= 0 and (found.high is None or found.low <= found.high < 1e10)
        assert _value(read_quantity(found.plain)) == _value(found)


_NUMBER = st.one_of(
    st.integers(0, 5000).map(str), st.decimals(0, 5000, places=2).map(str), st.decimals(0, 9, places=4).map(str)
)
_UNIT_WRITTEN = st.sampled_from(["ml", " ml", "cc", " L", "dl", " g", "kg", "%", " percent cleared"])


@given(
    low=_NUMBER,
    high=_NUMBER,
    unit=_UNIT_WRITTEN,
    shape=st.sampled_from(["{0}{2}", "{0}-{1}{2}", "{0}{2} to {1}{2}"]),
    before=st.sampled_from(["", "~", ">", "at least ", "up to ", "about "]),
    after=st.sampled_from(["", ".", ", net"]),
)
@settings(deadline=None, derandomize=True, max_examples=500)
def test_a_well_formed_amount_holds_the_numbers_written_and_no_others(low, high, unit, shape, before, after):
    found = read_quantity(before + shape.format(low, high, unit) + after)
    if found.problem:
        assert not found.numeric
        return
    factor = {"l": 1000, "dl": 100, "kg": 1000}.get(unit.strip().casefold(), 1)
    written = {float(Decimal(low) * factor), float(Decimal(high) * factor)} | ({0.0} if before == "up to " else set())
    assert found.low in written and (found.high in written or (found.high is None and before in (">", "at least ")))
    assert _value(read_quantity(found.plain)) == _value(found)


@given(text=_AMOUNT_LIKE, extra=st.sampled_from([" ", "  ", "\u00a0"]))
@settings(deadline=None, derandomize=True, max_examples=300)
def test_case_and_blanks_at_the_ends_never_matter(text, extra):
    expected = _value(read_quantity(text, default_unit="ml"))
    assert _value(read_quantity(extra + text.upper() + extra, default_unit="ml")) == expected
