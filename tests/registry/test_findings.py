"""The table of findings and the sentences made of it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from necrostats.registry.findings import COLUMNS, findings_frame, in_order, no_findings, place, sentence


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
