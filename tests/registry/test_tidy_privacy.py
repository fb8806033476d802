import pytest

from builders.registry_files import faultless, registry_of, spoilt
from necrostats.errors import RegistryError
from necrostats.registry.loading import read_registry


def _refused(tmp_path, tables):
    with pytest.raises(RegistryError) as caught:
        registry_of(tmp_path, tables)
    return str(caught.value)


def test_an_e_mail_address_in_a_text_column_stops_everything_and_is_not_repeated(tmp_path):
    text = _refused(tmp_path, spoilt("sessions", 1, yield_as_written="200 ml, ask jo.bloggs@example.org"))
    assert "sessions.csv" in text
    assert "yield_as_written" in text
    assert "example.org" not in text
    assert "jo.bloggs" not in text


def test_a_column_of_names_that_nobody_knows_is_refused_before_it_is_left_unread(tmp_path):
    text = _refused(tmp_path, spoilt("patients", 0, surname="Invented"))
    assert "surname" in text
    assert "Invented" not in text


def test_a_column_that_a_person_has_looked_at_passes(tmp_path):
    tables = spoilt("sessions", 0, operator="Tulipwood")
    text = _refused(tmp_path, tables)
    assert "operator" in text
    for accepted in (["operator"], "operator"):
        assert len(read_registry(tmp_path, accepted=accepted).sessions) == len(tables["sessions"])


def test_a_faultless_registry_raises_no_suspicion(tmp_path):
    assert len(registry_of(tmp_path, faultless()).patients) == 2


def test_a_reference_to_a_row_that_is_there_is_looked_at_in_its_own_table_only(tmp_path):
    tables = faultless()
    for table, column in (("collections", "collection_id"), ("sessions", "collection_id"), ("scans", "collection_id")):
        for row in tables[table]:
            row[column] = row[column].replace("C0", "C000000")
    tables["sessions"][1]["also_treated"] = "C0000001; C0000002"
    tables["stents"] = []
    assert len(registry_of(tmp_path, tables).sessions) == 3


def test_a_reference_to_nothing_is_looked_at_like_any_other_text(tmp_path):
    text = _refused(tmp_path, spoilt("sessions", 1, also_treated="jo.bloggs@example.org"))
    assert "also_treated" in text
    assert "example.org" not in text


@pytest.mark.parametrize(
    ("written", "low", "high"),
    [("1250 kg", "1250000", "1250000"), ("entre 100 y 150", "100", "150"), ("> 1250 kg", "1250000", "")],
)
def test_a_yield_that_reads_whole_as_an_amount_is_no_identifier_nor_are_its_numbers(tmp_path, written, low, high):
    unit = "g" if "kg" in written else "ml"
    cells = {"yield_as_written": written, "yield_low": low, "yield_high": high, "yield_unit": unit}
    read = registry_of(tmp_path, spoilt("sessions", 1, **cells))
    assert read.sessions["yield_low"].iloc[1] == float(low)


@pytest.mark.parametrize(
    "cells",
    [
        {"yield_as_written": "1250 kg", "yield_low": "4711471", "yield_high": "1250000"},
        {"yield_as_written": "4711471", "yield_low": "4711471", "yield_high": "4711471"},
        {"yield_as_written": "1250 kg, MRN 4711471", "yield_low": "", "yield_high": ""},
        {"yield_as_written": "F, 94 y", "yield_low": "", "yield_high": ""},
    ],
)
def test_a_number_that_no_amount_gave_is_still_looked_at(tmp_path, cells):
    text = _refused(tmp_path, spoilt("sessions", 1, yield_unit="g", **cells))
    assert "sessions.csv" in text
    assert "4711471" not in text
