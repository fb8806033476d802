"""Columns written as csv."""

from __future__ import annotations

import csv
import io

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from necrostats.registry.defusing import undefused
from necrostats.registry.export.writing import CsvFile, texts_of


def objects(listed):
    array = np.empty(len(listed), dtype=object)
    array[:] = listed
    return array


CELLS = st.lists(st.text(alphabet='a=+-@,"\n\r 1\'é', max_size=5), min_size=1, max_size=12)


@given(CELLS)
@settings(deadline=None, derandomize=True, max_examples=200)
def test_what_is_written_is_read_again_by_the_csv_module_of_python_and_starts_no_formula(tmp_path_factory, cells):
    path = tmp_path_factory.mktemp("written") / "a.csv"
    file = CsvFile(path, ("n", "text, as it is"))
    file.add([objects([str(n) for n in range(len(cells))]), objects(cells)])
    file.finish()
    heading, *rows = csv.reader(io.StringIO(path.read_bytes().decode(), newline=""), strict=True)
    assert heading == ["n", "text, as it is"]
    assert [(number, undefused(text)) for number, text in rows] == [(str(n), cell) for n, cell in enumerate(cells)]
    assert not any(text.startswith(("=", "@", "+a", "-a", "\n", "\r")) for _, text in rows)


def test_what_is_added_stands_one_below_the_other_and_nothing_is_a_heading_alone(tmp_path):
    file = CsvFile(tmp_path / "b.csv", ["a"])
    file.add([objects(["1"])])
    file.add_frame(pd.DataFrame({"b": ["x", "y"], "a": [2, 3]}))
    assert not (tmp_path / "b.csv").exists()
    assert file.finish().read_text() == "a\n1\n2\n3\n"
    assert CsvFile(tmp_path / "c.csv", ["a", "b"]).finish().read_text() == "a,b\n"
    assert sorted(each.name for each in tmp_path.iterdir()) == ["b.csv", "c.csv"]


def test_a_file_that_is_dropped_leaves_nothing_behind(tmp_path):
    CsvFile(tmp_path / "b.csv", ["a"]).drop()
    assert not [*tmp_path.iterdir()]


@given(CELLS)
@settings(deadline=None, derandomize=True, max_examples=50)
def test_a_file_that_is_widened_is_the_one_with_a_blank_column_from_the_start(tmp_path_factory, cells):
    folder, texts = tmp_path_factory.mktemp("written"), objects(cells)
    narrow, wide = CsvFile(folder / "narrow.csv", ["a", "c"]), CsvFile(folder / "wide.csv", ["a", "b", "c"])
    narrow.add([texts, texts])
    narrow.widen(["a", "b", "c"])
    narrow.add([texts, texts, texts])
    wide.add([texts, objects([""] * len(cells)), texts])
    wide.add([texts, texts, texts])
    assert narrow.finish().read_bytes() == wide.finish().read_bytes()


def test_a_file_takes_the_lines_of_another(tmp_path):
    one, two = CsvFile(tmp_path / "1.csv", ["a"]), CsvFile(tmp_path / "2.csv", ["a"])
    one.add([objects(["1"])])
    two.add([objects(["2", "3\n4"])])
    one.append(two)
    assert one.finish().read_text() == 'a\n1\n2\n"3\n4"\n'
    assert [each.name for each in tmp_path.iterdir()] == ["1.csv"]


def test_each_kind_of_value_has_one_way_of_being_written():
    assert texts_of(pd.Series([1, None], dtype="Int64")).tolist() == ["1", ""]
    assert texts_of(pd.Series([True, False, None], dtype="boolean")).tolist() == ["yes", "no", ""]
    assert texts_of(pd.Series([0.1, 250.0, np.nan])).tolist() == ["0.1", "250", ""]
    assert texts_of(pd.Series(["=1+1", None], dtype="string")).tolist() == ["=1+1", ""]
