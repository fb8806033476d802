"""What cells say that gave no line of their own."""

from __future__ import annotations

import numpy as np

from necrostats.registry.days import read_date
from necrostats.registry.export.readings import BLANK, Reading, refused
from necrostats.registry.export.telling import Told


def lines(told):
    return sorted((row, f, v) for s in told.lines for row, f, v in zip(s.row, s.field, s.value, strict=True))


def test_fills_dates_ranges_and_silence_each_make_their_lines():
    day, month = (Reading(rule="date", date=read_date(text, day_first=True)) for text in ("10/03/2024", "03/2024"))
    values = Reading(rule="amount", fills={"yield_low": "5", "yield_high": "7"})
    start = float(day.date.first.toordinal() - 4)
    told = Told.of(
        [BLANK, day, month, values], np.array([1, 2, 3, 0, 1]), "day", np.array([start, start, start, start, np.nan])
    )
    assert lines(told) == [
        (0, "day", "4"), (1, "day", "-5"), (1, "day_latest", "25"), (2, "yield_high", "7"), (2, "yield_low", "5"),
        (3, "day", ""), (4, "day", ""),
    ]  # fmt: skip
    assert told.rule.tolist() == ["date", "date", "amount", "blank", "date"]


def test_what_became_of_a_cell_hangs_on_its_patient():
    told = Told.of([BLANK, refused("is odd"), Reading(rule="code", fills={"sex": "male"})], np.arange(3), "sex",
                   np.zeros(3))  # fmt: skip
    assert told.outcome(np.array([False, False, False])).tolist() == ["unknown", "set aside", "value"]
    assert told.outcome(np.array([True, True, True])).tolist() == ["unknown", "set aside", "set aside"]


def test_no_cell_tells_nothing():
    told = Told.of([BLANK], np.empty(0, dtype=np.int64), "sex", np.empty(0))
    assert lines(told) == [] and told.outcome(np.empty(0, dtype=bool)).size == 0
