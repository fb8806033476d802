"""What a flag does to a registry in the making."""

from __future__ import annotations

import numpy as np
import pytest

from builders.registry_files import faultless, write_folder
from necrostats.registry.checking import interpreted
from necrostats.registry.checking_ids import linked
from necrostats.registry.codebook import SESSIONS, STENTS
from necrostats.registry.drafts import Cells, Flag, applied, together
from necrostats.registry.reading import read_source


@pytest.fixture
def draft(tmp_path):
    return linked(interpreted(read_source(write_folder(tmp_path, faultless()))))


def flag(table, *rows, **rest):
    return Flag(rule="A_RULE", table=table, at=np.array(rows, dtype=np.int64), severity="stops", **rest)


def test_a_cell_goes_alone_where_the_table_can_do_without_it(draft):
    after = applied(draft, [flag("sessions", 1, column="minutes_total", takes="cell")])
    assert np.isnan(after["sessions"].numbers("minutes_total")).all()
    assert after["sessions"].kept.all()
    assert after.findings[0]["value"].tolist() == ["60"]
    assert after.findings[0]["row"].tolist() == [3]


def test_a_cell_takes_its_row_where_the_table_cannot_do_without_it(draft):
    after = applied(draft, [flag("sessions", 1, column="day", takes="cell")])
    assert after["sessions"].gone.tolist() == [False, True, False]
    assert after.findings[0]["scope"].tolist() == ["row"]


def test_a_flag_can_take_the_patient(draft):
    after = applied(draft, [flag("scans", 1, column="day", takes="patient")])
    assert after["patients"].gone.tolist() == [False, True]
    assert after["scans"].kept.all()


def test_both_ends_of_a_yield_go_together(draft):
    after = applied(draft, [flag("sessions", 1, column="yield_high", takes="cell")])
    assert np.isnan(after["sessions"].numbers("yield_low")).all()
    assert [(taken.column, taken.scope) for taken in after.taken] == [("yield_low", "cell"), ("yield_high", "cell")]


def test_a_draft_is_never_changed_in_place(draft):
    applied(draft, [flag("sessions", 1, column="minutes_total", takes="cell"), flag("patients", 0, takes="row")])
    assert draft["sessions"].numbers("minutes_total")[1] == 60
    assert draft["patients"].kept.all()
    assert not draft.findings and not draft.taken


def test_a_row_set_aside_twice_is_listed_once(draft):
    after = applied(draft, [flag("patients", 0, takes="row"), flag("patients", 0, 1, takes="row")])
    assert [taken.at.tolist() for taken in after.taken] == [[0], [1]]


def test_a_flag_on_no_row_says_nothing(draft):
    assert not applied(draft, [flag("patients", takes="row")]).findings


def test_one_finding_may_stand_for_all_rows(draft):
    after = applied(draft, [flag("sessions", 0, 1, column="yield_unit", once=True, problem="both")])
    assert len(after.findings[0]) == 1 and after.findings[0]["row"].isna().all()


def test_days_and_their_partners_belong_together():
    assert together(SESSIONS, "day") == together(SESSIONS, "day_latest") == ("day", "day_latest")
    assert together(STENTS, "removed_day_latest") == ("removed_day", "removed_day_latest")
    assert together(SESSIONS, "passes") == ("passes",)


def test_cells_are_blanked_and_written_in_copies():
    cells = Cells(values=np.array([np.nan, 1.0]), which=np.array([1, 1, 0], dtype=np.int8))
    np.testing.assert_array_equal(cells.without(np.array([0])).taken(), [np.nan, 1.0, np.nan])
    np.testing.assert_array_equal(cells.with_value(np.array([2]), 7.0).taken(), [1.0, 1.0, 7.0])
    np.testing.assert_array_equal(cells.taken(), [1.0, 1.0, np.nan])


def test_an_instrument_belongs_to_the_patient_of_its_session(draft):
    assert draft.patients_of("instrument_uses").tolist() == [0, 0]
