import pytest

from necrostats.report.draft_words import fraction, sentences, tokens


def texts(text):
    return [token.text for token in tokens(text)]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("69 % (60–76 %)", "69% (60-76%)"),
        ("3.6 %", "3·6\N{NO-BREAK SPACE}%"),
        ("28–44", "28 to 44"),
        ("median, 72 days", "Median 72 DAYS"),
    ],
)
def test_the_same_thing_typed_otherwise_is_the_same(one, other):
    assert [(token.same, token.value) for token in tokens(one)] == [
        (token.same, token.value) for token in tokens(other)
    ]


def test_numbers_of_tables_figures_and_references_are_passed_over():
    assert texts("See Table 2, Figure 1a and [12, 13]: 5 of 6") == ["See", "and", "5", "of", "6"]


def test_a_minus_is_a_sign_and_a_dash_between_numbers_is_a_range():
    assert [token.value for token in tokens("−19.5 to 21.7; 3-4") if token.is_number] == [-19.5, 21.7, 3, 4]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("50 of 141 patients (35 %, 95 % CI 28–44 %)", ["141", "35", "28", "44"]),
        ("50 of 141 patients (35 %, 28–44 %)", ["141", "35", "28", "44"]),
        ("50 of 141 (35 %)", ["141", "35"]),
        ("50 of 141 patients bled, 35 % of them", ["141"]),
        ("5.5 of 141", None),
        ("50 patients", None),
    ],
)
def test_a_fraction_is_read_with_its_share_and_limits(text, found):
    said = tokens(text)
    there = fraction(said, 0)
    assert (there and [said[place].text for place in sorted(there.places)]) == found


def test_sentences_end_at_a_stop_before_a_capital_or_a_number_and_not_in_a_number():
    assert sentences("A 3.5 b. 50 of 6 (x). Lancet 2007;370:1453. end.") == [
        "A 3.5 b.",
        "50 of 6 (x).",
        "Lancet 2007;370:1453. end.",
    ]
