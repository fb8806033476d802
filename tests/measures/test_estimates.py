from necrostats.measures.estimates import estimate_row, estimate_table
from necrostats.results import Estimates


def test_rows_have_the_columns_of_the_kind_and_blanks_where_nothing_is_given():
    table = estimate_table([estimate_row("mean", "sessions", unit="sessions", of="patients", n=3, estimate=2)])
    assert list(table.columns) == list(Estimates.columns)
    assert table["events"].isna().all() and table["conf_low"].isna().all()
    assert table["group"].tolist() == ["all"]


def test_measures_and_variables_keep_their_order_and_groups_with_nobody_stay():
    rows = [
        estimate_row(measure, "x", unit="days", of="patients", n=1, estimate=1, group="b") for measure in ("z", "a")
    ]
    table = estimate_table(rows, groups=("a", "b"))
    assert list(table["measure"].cat.categories) == ["z", "a"]
    assert list(table["group"].cat.categories) == ["a", "b"]


def test_no_rows_give_an_empty_table():
    assert list(estimate_table([]).columns) == list(Estimates.columns)
