import pytest

from necrostats.registry import columns
from necrostats.registry.columns import KINDS, Table


@pytest.mark.parametrize(
    ("made", "kind"),
    [
        (columns.key("x"), "id"),
        (columns.day("x", "m"), "day"),
        (columns.code("x", "a b", "m"), "code"),
        (columns.number("x", "mm", "m"), "number"),
        (columns.whole("x", "", "m"), "whole"),
        (columns.yes_no("x", "m"), "yes_no"),
        (columns.text("x", "m"), "text"),
        (columns.period("x", "m"), "period"),
    ],
)
def test_each_shorthand_makes_a_column_of_its_kind(made, kind):
    assert made.kind == kind
    assert kind in KINDS


def test_a_day_brings_a_partner_for_a_range_and_nothing_else_does():
    table = Table(name="t", row="a row", key="", columns=(columns.day("day", "m"), columns.whole("n", "", "m")))
    assert [column.name for column in table.all_columns] == ["day", "day_latest", "n"]
    assert table.names == ("day", "n")


def test_a_column_that_is_not_there_is_a_key_error():
    with pytest.raises(KeyError):
        Table(name="t", row="a row", key="", columns=()).column("x")


def test_codes_are_given_with_blanks_between():
    assert columns.code("x", "one two", "m").codes == ("one", "two")
