from __future__ import annotations

import math

import numpy as np
import pytest

from builders.courses import Course, registry_of
from necrostats.errors import ChoiceError, DesignError
from necrostats.measures.grouping import (
    counted,
    estimate_row,
    estimate_table,
    one_group,
    patient_groups,
    session_groups,
    share_row,
    summary_table,
    without_limits,
)
from necrostats.results import Estimates, Summary


def test_without_a_grouping_everybody_is_in_one_group():
    assert patient_groups(registry_of(Course(), Course()), None).codes.tolist() == [0, 0]


def test_every_code_is_a_group_and_a_blank_is_none():
    groups = patient_groups(registry_of(Course(about={"sex": "male"}), Course()), "sex")
    assert groups.labels == ("female", "male", "other")
    assert groups.codes.tolist() == [1, -1]
    assert groups.left_out == 1


def test_a_whole_number_is_grouped_in_order():
    courses = [Course(about={"asa_class": each}) for each in (3, 1)]
    assert patient_groups(registry_of(*courses), "asa_class").labels == ("1", "3")


def test_bands_of_age_and_extent_are_groups():
    registry = registry_of(Course(about={"age_years": 44}))
    assert patient_groups(registry, "age_band").codes.tolist() == [1]
    assert patient_groups(registry, "extent_class").labels == ("low", "high", "unclassified")


def test_sessions_take_the_group_of_their_patient_or_their_own():
    registry = registry_of(Course(necrosectomies=[3], about={"sex": "female"}), Course())
    assert session_groups(registry, "sex").codes.tolist() == [0, 0, -1]
    assert session_groups(registry, "session_type").codes.tolist() == [0, 1, 0]


def test_what_is_known_only_later_is_refused_with_the_reason():
    with pytest.raises(DesignError, match="stay under treatment long enough"):
        patient_groups(registry_of(Course()), "duct")


def test_an_unknown_name_is_a_choice_error():
    with pytest.raises(ChoiceError, match="age_band"):
        patient_groups(registry_of(Course()), "shoe_size")


def test_a_column_keeps_the_groups_with_nobody():
    assert one_group(3).column([0, 0]).categories.tolist() == ["all"]


@pytest.mark.parametrize(
    "later",
    [
        "ever_powered_debrider",
        "Number of sessions",
        "powered_debrider",
        "snare",
        "necrosectomies",
        "lavage",
        "had surgery",
        "stent exchanged",
        "ever-treated with cap_suction",
        "percutaneous drain",
        "recurrence",
        "duct",
    ],
)
def test_whatever_speaks_of_the_treatment_is_refused_with_the_reason_and_what_to_ask_instead(later):
    with pytest.raises(DesignError, match="immortal time") as refused:
        patient_groups(registry_of(Course()), later)
    assert "landmark_resolution" in str(refused.value)
    assert "ever_used_trap" in str(refused.value)


@pytest.mark.parametrize("misspelt", ["etiology", "infecton", "magnet", "age"])
def test_a_misspelt_name_is_not_taken_for_something_later(misspelt):
    with pytest.raises(ChoiceError):
        patient_groups(registry_of(Course()), misspelt)


def test_one_is_singular_and_everything_else_plural():
    assert counted(1, "patient was", "patients were") == "1 patient was"
    assert counted(0, "patient was", "patients were") == "0 patients were"
    assert counted(2000, "patient was", "patients were") == "2,000 patients were"


def test_a_share_of_nothing_is_blank():
    assert math.isnan(share_row("x", 0, events=0, n=0, missing=4)["estimate"])


def test_the_table_has_the_columns_of_its_kind_in_order():
    table = summary_table([share_row("x", 0, events=1, n=4, missing=0)], one_group(1))
    assert tuple(table.columns) == Summary.columns
    assert table.loc[0, "estimate"] == 0.25


def test_no_rows_make_an_empty_table():
    assert summary_table([], one_group(0)).empty


def test_rows_have_the_columns_of_the_kind_and_blanks_where_nothing_is_given():
    table = estimate_table([estimate_row("mean", "sessions", unit="sessions", of="patients", n=3, estimate=2)])
    assert list(table.columns) == list(Estimates.columns)
    assert table["events"].isna().all() and table["low"].isna().all()
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
