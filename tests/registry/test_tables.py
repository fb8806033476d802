"""Registry: frozen tables, ids that are row numbers, selections that keep belonging together."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from builders.registry_files import faultless, registry_of
from necrostats.errors import ChoiceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.tables import (
    NO_DAY,
    SET_ASIDE_COLUMNS,
    Source,
    dtype_of,
    next_session_days,
    nothing_set_aside,
    registry_from,
    session_of_events,
    typed_table,
)


@pytest.fixture
def registry(tmp_path):
    return registry_of(tmp_path, faultless())


def test_its_repr_is_one_line_a_person_can_read(registry):
    assert repr(registry) == "Registry: 2 patients, 3 sessions, 2026Q1 to 2026Q1, 0 findings"


def test_it_is_frozen(registry):
    with pytest.raises(dataclasses.FrozenInstanceError):
        registry.patients = pd.DataFrame()


def test_selecting_patients_takes_all_that_is_theirs_and_nothing_else(registry):
    only = registry.select(np.array([False, True]))
    assert {name: len(frame) for name, frame in only.tables.items()} == {
        "patients": 1,
        "collections": 1,
        "sessions": 1,
        "instrument_uses": 0,
        "stents": 0,
        "scans": 1,
        "reviews": 0,
        "adverse_events": 0,
        "other_interventions": 1,
    }
    assert only.position("scans").tolist() == [0]
    assert only.position("scans", "collections").tolist() == [0]


def test_selecting_leaves_the_registry_as_it_was(registry):
    before = {name: frame.copy() for name, frame in registry.tables.items()}
    registry.select(np.array([False, True]))
    for name, frame in before.items():
        pd.testing.assert_frame_equal(registry.tables[name], frame)


def test_selecting_everybody_changes_nothing(registry):
    for name, frame in registry.select(np.array([True, True])).tables.items():
        pd.testing.assert_frame_equal(frame, registry.tables[name])


def test_matured_patients_are_those_whose_day_lies_before_the_lock(registry):
    assert len(registry.matured(200).patients) == 2
    assert len(registry.matured(201).patients) == 0


def test_a_period_keeps_its_sessions_and_the_history_of_its_patients(tmp_path):
    tables = faultless()
    tables["sessions"][1]["period"] = "2026Q2"
    registry = registry_of(tmp_path, tables)
    later = registry.during("2026Q2")
    assert later.sessions["session_id"].tolist() == ["S02"]
    assert later.patients["patient_id"].tolist() == ["P01"]
    assert len(later.instrument_uses) == 2 and len(later.adverse_events) == 1 and len(later.scans) == 1
    assert registry.during("2026Q1").sessions["session_id"].tolist() == ["S01", "S03"]
    assert len(registry.during("2026Q1..2026Q2").sessions) == 3


def test_patients_of_an_index_period_are_found(registry):
    assert len(registry.indexed_in("2026Q1").patients) == 2


@pytest.mark.parametrize("period", ["2020Q1", "P01"])
def test_a_period_with_nothing_in_it_is_answered_with_the_span(registry, period):
    with pytest.raises(ChoiceError, match="runs from 2026Q1 to 2026Q1"):
        registry.during(period)


def test_periods_in_between_are_there_even_when_empty(tmp_path):
    tables = faultless()
    tables["sessions"][1]["period"] = "2026Q4"
    assert registry_of(tmp_path, tables).periods == ("2026Q1", "2026Q2", "2026Q3", "2026Q4")


def test_an_event_belongs_to_its_session_or_the_last_on_or_before_its_day():
    registry = registry_from(
        {
            "patients": pd.DataFrame({"patient_id": ["A", "B"]}),
            "sessions": pd.DataFrame(
                {"session_id": ["A2", "B1", "A1"], "patient_id": ["A", "B", "A"], "day": [10, 0, 0]}
            ),
            "adverse_events": pd.DataFrame(
                {
                    "event_id": list("abcde"),
                    "patient_id": ["A", "A", "A", "B", "B"],
                    "session_id": ["A1", None, None, None, None],
                    "day": [12, 9, 10, -1, 300],
                }
            ),
        }
    )
    assert session_of_events(registry).tolist() == [2, 2, 0, -1, 1]


def test_a_registry_from_frames_has_every_table_and_column():
    registry = registry_from({"patients": pd.DataFrame({"patient_id": ["A"], "age_years": [50]})})
    for name, table in TABLES.items():
        assert list(registry.tables[name].columns) == [column.name for column in table.all_columns]
    assert registry.patients["age_years"].dtype == "Int64"


def test_a_typed_table_takes_plain_values():
    frame = typed_table(TABLES["scans"], pd.DataFrame({"scan_id": ["N1"], "day": [3.0], "long_mm": ["20.5"]}))
    assert frame["day"].tolist() == [3] and frame["long_mm"].tolist() == [20.5]
    assert frame["modality"].isna().all()


def test_codes_are_categories_in_their_order():
    grade = TABLES["adverse_events"].column("agree_grade")
    assert list(dtype_of(grade).categories) == list(grade.codes)
    assert dtype_of(grade).ordered


def test_nothing_set_aside_has_the_columns_of_the_list():
    assert tuple(nothing_set_aside().columns) == SET_ASIDE_COLUMNS


def test_what_a_source_counts_cannot_be_changed():
    source = Source(name="unit", rows_read={"patients": 2})
    with pytest.raises(TypeError):
        source.rows_read["patients"] = 3


def test_a_narrowed_registry_says_to_what_it_was_narrowed(registry):
    assert registry.narrowed_to == ""
    narrowed = registry.during("2026Q1")
    assert narrowed.narrowed_to == "2026Q1"
    assert narrowed.select(np.ones(len(narrowed.patients), dtype=bool)).narrowed_to == "2026Q1"
    assert registry.indexed_in("2026Q1").narrowed_to == ""


def _two_quarters():
    return registry_from(
        {
            "patients": pd.DataFrame({"patient_id": ["A", "B"], "index_period": ["2026Q1", "2026Q1"]}),
            "sessions": pd.DataFrame(
                {
                    "session_id": ["A1", "A2", "A3", "B1"],
                    "patient_id": ["A", "A", "A", "B"],
                    "day": [0, 0, 70, 5],
                    "period": ["2026Q1", "2026Q1", "2026Q2", "2026Q1"],
                }
            ),
            "adverse_events": pd.DataFrame({"event_id": ["e"], "patient_id": ["A"], "day": [-2]}),
        }
    )


def test_the_next_session_of_a_patient_is_known_after_narrowing_and_selecting():
    registry = _two_quarters()
    assert next_session_days(registry).tolist() == [70, 70, NO_DAY, NO_DAY]
    narrowed = registry.during("2026Q1")
    assert next_session_days(narrowed).tolist() == [70, 70, NO_DAY]
    assert next_session_days(narrowed.select(np.array([False, True]))).tolist() == [NO_DAY]
    assert next_session_days(narrowed.during("2026Q1")).tolist() == [70, 70, NO_DAY]
    assert next_session_days(registry.select(np.array([False, False]))).size == 0


def test_an_event_before_any_session_is_kept_with_the_first_one():
    registry = _two_quarters()
    assert [len(registry.during(each).adverse_events) for each in ("2026Q1", "2026Q2")] == [1, 0]
