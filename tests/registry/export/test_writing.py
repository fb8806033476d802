"""Columns written as csv."""

from __future__ import annotations

import csv
import io

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.defusing import undefused
from necrostats.registry.export.writing import texts_of, write_csv


def objects(listed):
    array = np.empty(len(listed), dtype=object)
    array[:] = listed
    return array


CELLS = st.lists(st.text(alphabet='a=+-@,"\n\r 1\'é', max_size=5), min_size=1, max_size=12)


@given(CELLS)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_what_is_written_is_read_again_by_the_csv_module_of_python_and_starts_no_formula(tmp_path_factory, cells):
    path = tmp_path_factory.mktemp("written") / "a.csv"
    write_csv(path, ("n", "text, as it is"), [[objects([str(n) for n in range(len(cells))]), objects(cells)]])
    heading, *rows = csv.reader(io.StringIO(path.read_bytes().decode(), newline=""), strict=True)
    assert heading == ["n", "text, as it is"]
    assert [(number, undefused(text)) for number, text in rows] == [(str(n), cell) for n, cell in enumerate(cells)]
    assert not any(text.startswith(("=", "@", "+a", "-a", "\n", "\r")) for _, text in rows)


def test_blocks_stand_one_below_the_other_and_none_is_a_heading_alone(tmp_path):
    path = write_csv(tmp_path / "b.csv", ["a"], [[objects(["1"])], [objects(["2", "3"])]])
    assert path.read_text() == "a\n1\n2\n3\n"
    assert write_csv(tmp_path / "c.csv", ["a", "b"], []).read_text() == "a,b\n"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["b.csv", "c.csv"]


def test_each_kind_of_value_has_one_way_of_being_written():
    assert texts_of(pd.Series([1, None], dtype="Int64")).tolist() == ["1", ""]
    assert texts_of(pd.Series([True, False, None], dtype="boolean")).tolist() == ["yes", "no", ""]
    assert texts_of(pd.Series([0.1, 250.0, np.nan])).tolist() == ["0.1", "250", ""]
    assert texts_of(pd.Series(["=1+1", None], dtype="string")).tolist() == ["=1+1", ""]
