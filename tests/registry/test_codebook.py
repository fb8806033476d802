"""The codebook holds together: every reference, code and limit means something."""

from __future__ import annotations

import pytest

from necrostats.registry import codebook
from necrostats.registry.codebook import TABLES
from necrostats.registry.columns import KINDS

ALL = [(table, column) for table in TABLES.values() for column in table.all_columns]
IDS = [f"{table.name}.{column.name}" for table, column in ALL]


@pytest.mark.parametrize(("table", "column"), ALL, ids=IDS)
def test_every_column_is_of_a_known_kind_and_says_what_it_means(table, column):
    assert column.kind in KINDS
    assert column.meaning and not column.meaning.endswith(".")


@pytest.mark.parametrize(("table", "column"), ALL, ids=IDS)
def test_codes_belong_to_code_columns_and_occur_once(table, column):
    assert bool(column.codes) == (column.kind == "code")
    assert len(set(column.codes)) == len(column.codes)


@pytest.mark.parametrize(("table", "column"), ALL, ids=IDS)
def test_what_is_likely_lies_within_what_is_possible(table, column):
    limits = [column.low, column.likely_low, column.likely_high, column.high]
    given = [limit for limit in limits if limit is not None]
    assert given == sorted(given)


@pytest.mark.parametrize(("table", "column"), ALL, ids=IDS)
def test_a_reference_names_a_table_with_a_key_that_comes_first(table, column):
    if column.refers_to:
        assert column.kind in ("id", "ids")
        assert TABLES[column.refers_to].key
        assert list(TABLES).index(column.refers_to) <= list(TABLES).index(table.name)


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_columns_of_a_table_have_their_own_names_and_the_key_is_required(table):
    assert len({column.name for column in table.all_columns}) == len(table.all_columns)
    if table.key:
        assert table.column(table.key).required and not table.column(table.key).refers_to


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_every_row_leads_to_a_patient(table):
    assert "patient_id" in table.names or table.column("session_id").required


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_every_day_has_a_partner_for_a_range(table):
    for column in table.columns:
        assert bool(column.latest) == (column.kind == "day")
        if column.latest:
            assert table.column(column.latest).kind == "whole"


def test_a_blank_means_something_only_where_another_column_says_so():
    for table, column in ALL:
        where, codes = column.applies
        if where:
            assert set(codes) <= set(table.column(where).codes)


def test_adjuncts_are_never_compared_on_yield():
    classes = codebook.INSTRUMENT_USES.column("instrument_class").codes
    assert set(codebook.COMPARED_CLASSES) | set(codebook.ADJUNCTS) | {"other", "unknown"} == set(classes)
    assert not set(codebook.COMPARED_CLASSES) & set(codebook.ADJUNCTS)


def test_sessions_that_drain_and_that_debride_are_types_of_session():
    types = set(codebook.SESSIONS.column("session_type").codes)
    assert set(codebook.NECROSECTOMIES) <= types and set(codebook.DRAINAGES) <= types


def test_an_unknown_column_is_a_key_error():
    with pytest.raises(KeyError):
        codebook.PATIENTS.column("surname")
