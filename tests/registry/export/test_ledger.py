"""

Lines of the ledger before they are placed.

What cells say that gave no line of their own.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from builders.exports import read_wide, wide_line
from necrostats.bundled import synthetic_registry
from necrostats.registry.days import read_date
from necrostats.registry.export.cells import BLANK, Reading, refused
from necrostats.registry.export.ledger import Lines, Told, each_once, ledger_of, ledger_parts
from necrostats.registry.export.loading import read_with_layout


def lines(found, cell):
    ledger = ledger_of(found)
    own = ledger[ledger["cell"] == cell]
    return own[["written", "outcome", "table", "id", "field", "value"]].to_numpy().tolist()


def test_each_cell_has_its_place_its_text_its_value_and_the_rule(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="snare+net"))
    ledger = ledger_of(found)
    age = ledger[ledger["cell"] == "B2"].iloc[0]
    assert (age["file"], age["sheet"], age["row"], age["column"]) == ("unit.xlsx", "DEN", 2, "Age")
    assert (age["written"], age["value"], age["rule"]) == ("50", "50", "number")
    assert [each[5] for each in lines(found, "E2") if each[4] == "instrument_class"] == ["snare", "net"]


def test_dates_and_keys_are_withheld_and_their_values_are_days_and_study_codes(tmp_path):
    found = read_wide(tmp_path, wide_line("unit-77", DEN1_date=date(2024, 3, 8)))
    assert lines(found, "A2") == [["value withheld", "value", "patients", "P0001", "patient_id", "P0001"]]
    assert lines(found, "D2") == [["value withheld", "value", "sessions", "S00002", "day", "7"]]
    assert not ledger_of(found).astype(str).apply(lambda column: column.str.contains("unit-77|2024-0")).any().any()


def test_unknown_and_set_aside_cells_say_so(tmp_path):
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="wand", DEN1_yield="n/a", DEN2_date="31/02/2024")
    found = read_wide(tmp_path, line)
    assert lines(found, "F2")[0][:2] == ["n/a", "unknown"]
    assert lines(found, "E2")[0][:2] == ["wand", "set aside"]
    assert lines(found, "H2")[0][:2] == ["value withheld", "set aside"]


def test_a_value_that_a_rule_set_aside_later_is_marked(tmp_path):
    found = read_wide(tmp_path, wide_line(DEN1_date=date(2027, 3, 8), DEN1_yield="5 ml"))
    assert {each[1] for each in lines(found, "D2")} == {"set aside"}
    assert {each[1] for each in lines(found, "F2")} == {"set aside"}


def test_an_old_age_is_shown_nowhere(tmp_path):
    found = read_wide(tmp_path, wide_line("1", 97))
    assert lines(found, "B2") == [["value withheld", "value", "patients", "P0001", "age_years", "90"]]


def test_pseudonyms_show_nobody(tmp_path):
    from builders.exports import WIDE

    layout = WIDE.replace('"DEN{n} tools" = "instruments"', '"DEN{n} tools" = { to = "operator", pseudonyms = true }')
    line = wide_line(DEN1_date=date(2024, 3, 8), DEN1_tools="op 7", DEN2_date=date(2024, 3, 9), DEN2_tools="Op  7")
    found = read_wide(tmp_path, line, layout=layout)
    assert found.registry.sessions["operator"].dropna().tolist() == ["operator A", "operator A"]
    assert lines(found, "E2")[0][0] == "value withheld"


@pytest.fixture(scope="module")
def messy():
    export = synthetic_registry() / "export"
    return read_with_layout(export / "unit_export.xlsx", export / "layout.toml")


@pytest.mark.parametrize("at_a_time", [1_000, 37])
def test_the_parts_of_a_ledger_are_the_whole_in_the_same_order(messy, at_a_time):
    parts = [part for sheet in messy.material.laid.sheets for part in ledger_parts(messy, sheet, at_a_time)]
    whole = ledger_of(messy)
    assert len(parts) > len(messy.material.laid.sheets) or at_a_time == 1_000
    pd.testing.assert_frame_equal(pd.concat(parts, ignore_index=True), whole)
    assert len(whole) > 5_000


def test_what_was_read_holds_no_cell_in_its_representation(tmp_path):
    found = read_wide(tmp_path, wide_line("unit-77", DEN1_date="08/03/2024", DEN1_tools="snare"))
    laid = found.material.laid
    held = (found, laid, laid.sheets[0], laid.export.grids[0], found.material, found.reshaped, found.draft)
    cell = found.material.laid.export.grids[0].columns[0].cells[-1]
    for each in (*held, cell, found.reshaped.blocks[0].parts[0].readings[-1], found.draft["patients"].raw):
        assert not any(text in repr(each) for text in ("unit-77", "08/03/2024", "snare"))


def lines_ledger_lines(number, at, **told):
    return Lines(number=np.array(number, dtype=np.int64), at=np.array(at, dtype=np.int64), **told)


def test_lines_with_one_text_for_all_join_those_with_a_text_each():
    sexes = np.array(["male", "female"], dtype=object)
    joined = Lines.joined(
        [lines_ledger_lines([1, 1], [0, 3], field="sex", value=sexes), lines_ledger_lines([2], [5], field="day")]
    )
    assert joined.field.tolist() == ["sex", "sex", "day"]
    assert joined.value.tolist() == ["male", "female", ""]
    assert joined.outcome.tolist() == ["value"] * 3 and joined.number.tolist() == [1, 1, 2]


def test_the_same_field_of_the_same_cell_is_told_once():
    told = [
        lines_ledger_lines([1], [0], field="sex", value="male"),
        lines_ledger_lines([1, 1], [0, 1], field="sex", value="female"),
    ]
    assert each_once(told).value.tolist() == ["male", "female"]
    assert each_once(told).at.tolist() == [0, 1]


def test_no_lines_join_to_none():
    assert len(Lines.joined([])) == 0 and len(each_once([lines_ledger_lines([], [])])) == 0


def lines_telling(told):
    return sorted((row, f, v) for s in told.lines for row, f, v in zip(s.row, s.field, s.value, strict=True))


def test_fills_dates_ranges_and_silence_each_make_their_lines():
    day, month = (Reading(rule="date", date=read_date(text, day_first=True)) for text in ("10/03/2024", "03/2024"))
    values = Reading(rule="amount", fills={"yield_low": "5", "yield_high": "7"})
    start = float(day.date.first.toordinal() - 4)
    told = Told.of(
        [BLANK, day, month, values], np.array([1, 2, 3, 0, 1]), "day", np.array([start, start, start, start, np.nan])
    )
    assert lines_telling(told) == [
        (0, "day", "4"),
        (1, "day", "-5"),
        (1, "day_latest", "25"),
        (2, "yield_high", "7"),
        (2, "yield_low", "5"),
        (3, "day", ""),
        (4, "day", ""),
    ]
    assert told.rule.tolist() == ["date", "date", "amount", "blank", "date"]


def test_what_became_of_a_cell_hangs_on_its_patient():
    told = Told.of(
        [BLANK, refused("is odd"), Reading(rule="code", fills={"sex": "male"})], np.arange(3), "sex", np.zeros(3)
    )
    assert told.outcome(np.array([False, False, False])).tolist() == ["unknown", "set aside", "value"]
    assert told.outcome(np.array([True, True, True])).tolist() == ["unknown", "set aside", "set aside"]


def test_no_cell_tells_nothing():
    told = Told.of([BLANK], np.empty(0, dtype=np.int64), "sex", np.empty(0))
    assert lines_telling(told) == [] and told.outcome(np.empty(0, dtype=bool)).size == 0
