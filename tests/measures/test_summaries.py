import math

from necrostats.measures.grouping import one_group
from necrostats.measures.summaries import share_row, summary_table
from necrostats.results import Summary


def test_a_share_of_nothing_is_blank():
    assert math.isnan(share_row("x", 0, events=0, n=0, missing=4)["estimate"])


def test_the_table_has_the_columns_of_its_kind_in_order():
    table = summary_table([share_row("x", 0, events=1, n=4, missing=0)], one_group(1))
    assert tuple(table.columns) == Summary.columns
    assert table.loc[0, "estimate"] == 0.25


def test_no_rows_make_an_empty_table():
    assert summary_table([], one_group(0)).empty
