import pytest
from hypothesis import given
from hypothesis import strategies as st

from builders.series import series
from necrostats.present.bound import NUMBER, bound, joined, number_in, quoted, row_where, rows_of, say


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("69 % of 1,142 patients (95 % CI 60–76 %)", ["69", "1,142", "95", "60", "76"]),
        ("−19.5 to 21.7", ["−19.5", "21.7"]),
        ("28-44, -3, p<0.001", ["28", "44", "-3", "0.001"]),
        ("2023Q1", ["2023", "1"]),
        ("1,5 and 1,234,567.8", ["1", "5", "1,234,567.8"]),
        ("no number", []),
    ],
)
def test_a_number_is_found_as_it_is_printed(text, found):
    assert NUMBER.findall(text) == found


@pytest.mark.parametrize(("printed", "value"), [("1,142", 1142), ("−19.5", -19.5), ("-3", -3), ("0.001", 0.001)])
def test_a_printed_number_has_a_value(printed, value):
    assert number_in(printed) == value


def test_a_digit_that_is_bound_to_nothing_is_refused():
    with pytest.raises(ValueError, match="bound to no result"):
        say("in 3 patients")


def test_a_text_with_more_numbers_than_were_named_is_refused():
    with pytest.raises(ValueError, match="holds 2 numbers, and 1 were named"):
        bound("3 of 4", "events", (), [("events", 3.0, "patients")])


@given(st.lists(st.tuples(st.text(alphabet="ab ,.%", max_size=5), st.integers(0, 99999)), max_size=6))
def test_a_number_stands_where_its_sentence_says_however_it_was_put_together(parts):
    pieces = [each for text, value in parts for each in (f"{text} ", bound(str(value), "m", (), [("n", value, "")]))]
    sentence = say(*pieces)
    assert [sentence.text[each.start :][: len(each.printed)] for each in sentence.numbers] == [
        str(value) for _, value in parts
    ]


def test_parts_are_joined_as_in_a_sentence():
    one, two, three = (say(each) for each in ("a", "b", "c"))
    assert str(joined([one, two, three])) == "a, b and c"
    assert str(joined([one])) == "a" and str(joined([])) == ""


def test_numbers_of_a_label_are_their_own_source():
    sentence = quoted("age 40–59", "baseline", "label")
    assert [(each.printed, each.value, each.column) for each in sentence.numbers] == [
        ("40", 40, "label"),
        ("59", 59, "label"),
    ]


def test_a_row_gives_its_numbers_with_the_column_they_came_from():
    row = row_where(rows_of("deaths", series().results["deaths"]), variable="death")
    number = row.count("events", "patients").numbers[0]
    assert (number.measure, number.column, number.value) == ("deaths", "events", float(row.events))
    assert number.source == "deaths: variable death, group all, unit patients: events"
    assert row_where([row], variable="nothing") is None
