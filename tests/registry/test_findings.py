"""The table of findings and the sentences made of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from necrostats.registry.findings import (
    COLUMNS,
    clean,
    findings_frame,
    in_order,
    is_date_with_year,
    is_unknown,
    looks_like_a_date,
    no_findings,
    no_value,
    place,
    sentence,
)


def one(**given):
    return next(findings_frame(row=[14], **given).itertuples())


def test_scalars_are_repeated_and_sequences_kept():
    found = findings_frame(row=np.array([3, 5]), rule="RANGE", value=["1-2", "3-4"])
    assert tuple(found.columns) == COLUMNS
    assert found["rule"].tolist() == ["RANGE", "RANGE"]
    assert found["value"].tolist() == ["1-2", "3-4"]
    assert found["row"].tolist() == [3, 5]


def test_no_findings_have_the_same_columns_and_types():
    empty, full = no_findings(), findings_frame(row=[1])
    assert len(empty) == 0
    assert (empty.dtypes == full.dtypes).all()


def test_what_stops_comes_first_then_by_place():
    found = pd.concat(
        [
            findings_frame(row=[2], severity="notes", file="a.csv"),
            findings_frame(row=[9, 4], severity="stops", file="b.csv"),
            findings_frame(row=[7], severity="asks", file="a.csv"),
            findings_frame(row=[pd.NA], severity="stops", file="a.csv"),
        ],
        ignore_index=True,
    )
    ordered = in_order(found)
    assert ordered["severity"].tolist() == ["stops", "stops", "stops", "asks", "notes"]
    assert ordered["file"].tolist() == ["a.csv", "b.csv", "b.csv", "a.csv", "a.csv"]
    assert ordered["row"].tolist()[1:3] == [4, 9]


def test_a_sentence_says_where_what_and_why():
    found = one(file="unit.xlsx", sheet="DEN", column="session 2 date", value="31/02", problem="is not a date")
    assert sentence(found) == 'unit.xlsx, sheet "DEN", row 14, "session 2 date": "31/02" is not a date.'


def test_a_finding_without_a_value_begins_with_the_problem():
    assert sentence(one(file="a.csv", problem="value withheld: a date")) == "a.csv, row 14: value withheld: a date."


def test_a_finding_about_a_whole_table_names_no_row():
    found = next(findings_frame(row=[pd.NA], file="a.csv").itertuples())
    assert place(found) == "a.csv"


@pytest.mark.parametrize(
    "text", ["", "-", "—", "n/a", "NA", "NULL", "NaN", ".", "?", "unk", "not recorded", "Not Recorded", "unknown"]
)
def test_what_says_nothing_is_unknown(text):
    assert is_unknown(text)


@pytest.mark.parametrize("text", ["0", "no", "none", "P1", "x"])
def test_what_says_something_is_not_unknown(text):
    assert not is_unknown(text)


@pytest.mark.parametrize(
    "text",
    [
        "31/02/2026",
        "2026-02-31",
        "1.3.26",
        "01/02/03",
        "12/03",
        "03/2024",
        "2024-03",
        "Mar-24",
        "12 March 2024",
        "early April",
        "2024-03-12 10:30:00",
        "2024-03-12T10:30",
        "12-Mar-2024",
        "0000-00-00 10:30:00",
    ],
)
def test_calendar_dates_are_recognised_even_impossible_ones(text):
    assert looks_like_a_date(text)


@pytest.mark.parametrize("text", ["12", "-40", "12.5", "200-300", "3 x 150", "C01-1", "marked", "", "1e5", "100 + 150"])
def test_other_things_are_no_dates(text):
    assert not looks_like_a_date(text)


def test_an_id_of_site_and_number_is_no_date_but_a_full_date_is():
    assert not is_date_with_year("01-02-003")
    assert is_date_with_year("12-03-2024")


@pytest.mark.parametrize("text", ["#N/A", "#DIV/0!", "as before", "idem", '"'])
def test_a_formula_error_and_a_pointer_elsewhere_hold_no_value(text):
    assert no_value(text).severity == "stops"


def test_a_plain_word_may_hold_a_value():
    assert no_value("snare") is None
    assert no_value("12") is None


def test_blanks_and_invisible_marks_at_the_ends_go():
    assert clean("\ufeff P1\u200b\xa0") == "P1"
    assert clean("e\u0301") == "\xe9"


def test_a_long_text_costs_no_time():
    assert not looks_like_a_date("1" * 100_000 + "x")
