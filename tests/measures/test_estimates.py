import numpy as np

from necrostats.measures.estimates import estimate_row, estimate_table, without_limits
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


def test_figures_without_any_limit_are_listed_with_the_reason():
    rows = [
        estimate_row("mean", name, unit="days", of="patients", n=4, estimate=1, group=group, low=low)
        for name, group, low in (("x", "a", np.nan), ("x", "b", np.nan), ("y", "a", 0.5), ("z", "b", np.nan))
    ]
    rows.append(estimate_row("mean", "w", unit="days", of="patients", n=0, estimate=np.nan))
    [note] = without_limits(estimate_table(rows, groups=("a", "b", "all")), "nothing varies")
    assert (note.code, note.text) == ("NO_LIMITS", "No limits for x (a, b); z (b): nothing varies.")


def test_no_note_where_every_figure_has_a_limit():
    row = estimate_row("mean", "x", unit="days", of="patients", n=4, estimate=1, low=0.5, high=2)
    assert without_limits(estimate_table([row])) == ()
