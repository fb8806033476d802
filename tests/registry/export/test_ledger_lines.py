"""Lines of the ledger before they are placed."""

from __future__ import annotations

import numpy as np

from necrostats.registry.export.ledger_lines import Lines, each_once


def lines(number, at, **told):
    return Lines(number=np.array(number, dtype=np.int64), at=np.array(at, dtype=np.int64), **told)


def test_lines_with_one_text_for_all_join_those_with_a_text_each():
    sexes = np.array(["male", "female"], dtype=object)
    joined = Lines.joined([lines([1, 1], [0, 3], field="sex", value=sexes), lines([2], [5], field="day")])
    assert joined.field.tolist() == ["sex", "sex", "day"]
    assert joined.value.tolist() == ["male", "female", ""]
    assert joined.outcome.tolist() == ["value"] * 3 and joined.number.tolist() == [1, 1, 2]


def test_the_same_field_of_the_same_cell_is_told_once():
    told = [lines([1], [0], field="sex", value="male"), lines([1, 1], [0, 1], field="sex", value="female")]
    assert each_once(told).value.tolist() == ["male", "female"]
    assert each_once(told).at.tolist() == [0, 1]


def test_no_lines_join_to_none():
    assert len(Lines.joined([])) == 0 and len(each_once([lines([], [])])) == 0
