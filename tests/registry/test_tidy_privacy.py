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
