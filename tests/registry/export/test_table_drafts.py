"""Tables being made from an export."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from necrostats.registry.export.table_drafts import NOWHERE, Mark, Origin, joined, no_rows
from necrostats.registry.export.texts import Texts


def origin(*columns):
    rows = len(columns)
    return Origin(
        column=np.array(columns, dtype=np.int32),
        at=np.arange(rows, dtype=np.int32),
        rule=np.array(["code"] * rows, dtype=object),
        withheld=np.zeros(rows, dtype=np.int8),
    )


def sessions(*persons):
    each = np.array(persons)
    made = no_rows("sessions")
    return replace(
        made, person=each, maker=each * 0, number=each * 0, sheet=each * 0, at=np.arange(len(each)), parent=each * 0 - 1
    )


def test_an_origin_can_be_kept_for_some_rows_and_put_back():
    some = origin(3, 4, 5).only(np.array([True, False, True]))
    assert some.column.tolist() == [3, NOWHERE, 5]
    assert some.put(np.array([1]), origin(9)).column.tolist() == [3, 9, 5]
    every = origin(1)
    assert every.only(np.array([True])) is every


def test_texts_are_written_taken_and_joined_with_the_marks_on_their_rows():
    made = sessions(0, 1, 1).with_text("texture", np.array([0, 2]), Texts.of(["soft", "tough"]))
    mark = Mark(rule="X", at=np.array([2]), column="texture", severity="asks", problem="is odd", origin=origin(0))
    made = made.with_marks(mark)
    part = made.take(np.array([2, 0]))
    assert part.text("texture").plain().tolist() == ["tough", "soft"] and part.marks[0].at.tolist() == [0]
    both = joined([part, sessions(7), made])
    assert both.text("texture").plain().tolist() == ["tough", "soft", "", "soft", "", "tough"]
    assert [each.at.tolist() for each in both.marks] == [[0], [5]] and both.person.tolist() == [1, 0, 7, 0, 1, 1]


def test_a_mark_goes_with_its_row():
    made = sessions(0, 1).with_marks(
        Mark(rule="X", at=np.array([1]), column="day", severity="stops", problem="is odd", origin=origin(0))
    )
    assert [len(each.at) for each in made.take(np.array([0])).marks] == [0]
    assert made.text("texture").plain().tolist() == ["", ""]
