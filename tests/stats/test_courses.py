from __future__ import annotations

import numpy as np
from numpy.testing import assert_array_equal

from necrostats.stats.courses import courses
from necrostats.stats.event_tables import event_table


def test_patients_with_the_same_course_are_counted_together():
    found = courses([3, 3, 5, 3], [1, 1, 0, 2])
    assert sorted(found.patients) == [1, 1, 2]
    assert_array_equal(found.patients_by_group, [4])


def test_a_patient_with_several_rows_keeps_them_together():
    found = courses([3, 3, 3], [1, 1, 1], patient=["x", "x", "y"])
    assert sorted(found.patients) == [1, 1]
    assert sorted(found.adds.sum(axis=1)) == [1, 2]


def test_courses_as_often_as_they_occur_give_the_table_of_all_rows():
    rng = np.random.default_rng(3)
    entry = rng.integers(0, 3, 50)
    time, cause, group = entry + rng.integers(1, 9, 50), rng.integers(0, 3, 50), rng.integers(0, 2, 50)
    patient = rng.integers(0, 30, 50)
    found = courses(time, cause, entry=entry, group=group, patient=patient)
    table = event_table(time, cause, entry=entry, group=group)
    for place, each in enumerate(found.tables(found.patients[None])):
        assert_array_equal(each.at_risk[0], table.risk_at(each.time)[place])
        seen = np.isin(table.time, each.time)
        for part in ("events", "censored"):
            assert_array_equal(getattr(each, part)[0], getattr(table, part)[place][..., seen])
            assert not getattr(table, part)[place][..., ~seen].any()


def test_apart_every_patient_has_a_course_in_the_order_of_labels():
    found = courses([3, 3, 5], [1, 1, 0], patient=["b", "a", "c"], apart=True)
    assert_array_equal(found.patients, [1, 1, 1])
    assert_array_equal(found.tables(np.array([[0, 0, 1.0]]))[0].time, [5])


def test_nobody_has_no_course():
    assert courses([], []).patients.size == 0
