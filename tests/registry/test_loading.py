"""read_registry from end to end."""

from __future__ import annotations

import hashlib

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from builders.registry_files import (
    faultless,
    finding,
    registry_of,
    rules,
    set_aside,
    spoilt,
    with_row,
    write_folder,
    write_workbook,
)
from necrostats.errors import NecrostatsError, RegistryError, SourceError
from necrostats.registry.codebook import TABLES
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import SET_ASIDE_COLUMNS, dtype_of, link

CELLS = st.sampled_from(
    [
        "",
        "-",
        "n/a",
        "0",
        "1",
        "-5",
        "12.5",
        "12,5",
        "yes",
        "no",
        "dead",
        "P01",
        "P02",
        "p02 ",
        "P99",
        "C02",
        "S01",
        "necrosectomy",
        "V",
        "31/02/2026",
        "2026Q1",
        "P07",
        "2026-03-01",
        "1e9",
        "1e99",
        "99999999",
        "snare+net",
        '"',
        "\n",
        "\0",
        "é",
        "#N/A",
        "as before",
        "200-300",
        ">500",
        "C01;C02",
        "120",
    ]
)
DAMAGE = st.lists(
    st.tuples(
        st.sampled_from(sorted(TABLES)),
        st.integers(0, 2),
        st.integers(0, 40),
        st.one_of(CELLS, st.text(max_size=6)),
        st.sampled_from(["cell", "cell", "cell", "drop row", "copy row", "drop column", "drop table"]),
    ),
    max_size=6,
)


def damaged(damage):
    tables = faultless()
    for table, row, column, text, how in damage:
        rows = tables.get(table)
        if not rows:
            continue
        names = [each.name for each in TABLES[table].all_columns]
        if how == "drop table":
            del tables[table]
        elif how == "drop row":
            rows.pop(row % len(rows))
        elif how == "copy row":
            rows.append(dict(rows[row % len(rows)]))
        elif how == "drop column":
            for each in rows:
                each.pop(names[column % len(names)], None)
        else:
            rows[row % len(rows)][names[column % len(names)]] = text
    return tables


def assert_rows_conserved(registry):
    aside = registry.set_aside[registry.set_aside["scope"] == "row"]
    for name, frame in registry.tables.items():
        assert registry.source.rows_kept[name] == len(frame)
        gone = aside[aside["table"] == name]
        assert not gone["row"].duplicated().any()
        assert registry.source.rows_read[name] == len(frame) + len(gone)


def test_a_faultless_registry_is_read_without_a_finding(tmp_path):
    registry = registry_of(tmp_path, faultless())
    assert registry.findings.empty, registry.findings.to_string()
    assert registry.set_aside.empty
    assert {name: len(frame) for name, frame in registry.tables.items()} == {
        name: len(rows) for name, rows in faultless().items()
    }


def test_every_column_has_the_type_of_the_codebook(tmp_path):
    registry = registry_of(tmp_path, faultless())
    for name, table in TABLES.items():
        frame = registry.tables[name]
        assert list(frame.columns) == [column.name for column in table.all_columns]
        for column in table.all_columns:
            if column.kind not in ("id", "period"):
                assert frame[column.name].dtype == dtype_of(column), column.name


def test_ids_are_row_numbers_of_their_parents(tmp_path):
    registry = registry_of(tmp_path, faultless())
    assert registry.position("sessions").tolist() == [0, 0, 1]
    assert registry.position("adverse_events", "sessions").tolist() == [1]
    assert registry.position("adverse_events", "stents").tolist() == [-1]
    assert registry.patients["patient_id"].tolist() == ["P01", "P02"]


def test_ids_keep_pointing_right_after_a_row_was_set_aside(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 0, vital_status=""))
    assert registry.patients["patient_id"].tolist() == ["P02"]
    assert registry.sessions["session_id"].tolist() == ["S03"]
    assert registry.position("sessions").tolist() == [0]
    assert registry.position("scans", "collections").tolist() == [0]


def test_linking_again_changes_nothing(tmp_path):
    registry = registry_of(tmp_path, faultless())
    for name, frame in link(registry.tables).items():
        pd.testing.assert_frame_equal(frame, registry.tables[name])


def test_a_folder_and_a_workbook_give_the_same_registry(tmp_path):
    folder = read_registry(write_folder(tmp_path / "tidy", faultless()))
    book = read_registry(write_workbook(tmp_path / "tidy.xlsx", faultless()))
    for name in TABLES:
        pd.testing.assert_frame_equal(folder.tables[name], book.tables[name])
    assert book.findings.empty


def test_the_source_is_named_hashed_and_counted(tmp_path):
    folder = write_folder(tmp_path / "unit", faultless())
    source = read_registry(folder).source
    together = b"".join((folder / f"{name}.csv").read_bytes() for name in sorted(TABLES))
    assert source.name == "unit"
    assert source.sha256 == hashlib.sha256(together).hexdigest()
    assert source.rows_read["sessions"] == source.rows_kept["sessions"] == 3


def test_a_row_set_aside_takes_its_children_with_it_and_each_is_listed(tmp_path):
    registry = registry_of(tmp_path, spoilt("patients", 0, index_period="spring"))
    gone = set_aside(registry)
    assert ("patients", 2, "NOT_A_PERIOD") in gone
    assert ("sessions", 3, "PARENT_SET_ASIDE") in gone
    assert ("instrument_uses", 2, "PARENT_SET_ASIDE") in gone
    assert set(registry.set_aside["patient_id"]) == {"P01"}
    assert tuple(registry.set_aside.columns) == SET_ASIDE_COLUMNS
    assert_rows_conserved(registry)


def test_everything_set_aside_has_a_finding(tmp_path):
    registry = registry_of(tmp_path, spoilt("collections", 0, is_index="maybe", long_mm="big"))
    said = set(zip(registry.findings["table"], registry.findings["rule"], strict=True))
    assert set(zip(registry.set_aside["table"], registry.set_aside["rule"], strict=True)) <= said


def test_a_bad_optional_cell_is_set_aside_alone(tmp_path):
    registry = registry_of(tmp_path, spoilt("sessions", 1, minutes_total="an hour"))
    assert set_aside(registry, "cell") == [("sessions", 3, "minutes_total")]
    assert registry.sessions["minutes_total"].isna().all()
    assert len(registry.sessions) == 3
    assert finding(registry, "NOT_A_NUMBER").value == "an hour"


def test_without_any_patient_left_all_findings_travel_with_the_error(tmp_path):
    tables = spoilt("patients", 0, vital_status="gone")
    tables["patients"][1]["observed_days"] = "31/02/2026"
    with pytest.raises(RegistryError) as caught:
        registry_of(tmp_path, tables)
    assert {"NOT_LISTED", "CALENDAR_DATE"} <= set(caught.value.findings["rule"])
    assert "cannot be used" in str(caught.value)
    assert "31/02/2026" not in str(caught.value)


@pytest.mark.parametrize("table", ["patients", "collections", "sessions"])
def test_a_table_no_registry_can_do_without_is_an_error(tmp_path, table):
    tables = faultless()
    del tables[table]
    with pytest.raises(RegistryError, match=f"there is no table {table}"):
        registry_of(tmp_path, tables)


def test_a_required_column_missing_from_sessions_is_an_error_not_a_registry_without_sessions(tmp_path):
    folder = write_folder(tmp_path, faultless())
    text = (folder / "sessions.csv").read_text().replace("session_type", "kind_of_session")
    (folder / "sessions.csv").write_text(text)
    with pytest.raises(RegistryError) as caught:
        read_registry(folder)
    assert 'there is no column "session_type"' in str(caught.value)
    assert '"kind_of_session" is no column' in str(caught.value)


def test_a_table_that_is_not_there_is_asked_about_and_empty(tmp_path):
    tables = faultless()
    del tables["adverse_events"]
    registry = registry_of(tmp_path, tables)
    assert finding(registry, "TABLE_MISSING").severity == "asks"
    assert "nothing is known about adverse events" in finding(registry, "TABLE_MISSING").problem
    assert registry.adverse_events.empty


def test_one_patient_without_sessions_or_events_is_a_registry(tmp_path):
    tables = {name: [] for name in faultless()}
    tables["patients"], tables["collections"] = faultless()["patients"][:1], faultless()["collections"][:1]
    registry = registry_of(tmp_path, tables)
    assert len(registry.patients) == 1 and registry.sessions.empty
    assert rules(registry) == ["NO_INDEX_DRAINAGE"]


def test_a_required_column_missing_from_an_optional_table_sets_the_table_aside(tmp_path):
    folder = write_folder(tmp_path, faultless())
    text = (folder / "scans.csv").read_text().replace(",day,day_latest,", ",when,whenever,")
    (folder / "scans.csv").write_text(text)
    registry = read_registry(folder)
    assert registry.scans.empty
    assert set_aside(registry) == [("scans", 2, "COLUMN_MISSING"), ("scans", 3, "COLUMN_MISSING")]
    assert "stops" in registry.findings.loc[registry.findings["rule"] == "COLUMN_MISSING", "severity"].tolist()


def test_nothing_to_read_is_a_source_error(tmp_path):
    with pytest.raises(SourceError, match="does not exist"):
        read_registry(tmp_path / "nowhere")


@settings(deadline=None, derandomize=True, max_examples=150)
@given(damage=DAMAGE)
@pytest.mark.slow
def test_damage_raises_nothing_but_our_errors_and_loses_no_row(tmp_path_factory, damage):
    folder = write_folder(tmp_path_factory.mktemp("damaged"), damaged(damage), encoding="utf-16")
    try:
        registry = read_registry(folder)
    except NecrostatsError as error:
        assert str(error)
        return
    assert_rows_conserved(registry)
    assert registry.patients["patient_id"].notna().all()
    for name in ("sessions", "scans", "stents", "reviews", "adverse_events", "other_interventions", "collections"):
        assert (registry.position(name) >= 0).all()
    assert (registry.position("instrument_uses", "sessions") >= 0).all()


@settings(deadline=None, derandomize=True, max_examples=60)
@given(damage=DAMAGE)
@pytest.mark.slow
def test_what_is_kept_needs_no_further_correction(tmp_path_factory, damage):
    """Reading again what was kept (rows set aside taken out) sets no further row aside for being an orphan."""
    try:
        registry = read_registry(write_folder(tmp_path_factory.mktemp("first"), damaged(damage), encoding="utf-16"))
    except NecrostatsError:
        return
    kept = {
        name: [
            {column: "" if pd.isna(cell) else _written(cell) for column, cell in row.items()}
            for row in frame.to_dict("records")
        ]
        for name, frame in registry.tables.items()
    }
    looked_at = {column for rows in kept.values() for row in rows for column in row}
    again = read_registry(write_folder(tmp_path_factory.mktemp("again"), kept), accepted=looked_at)
    assert not len(again.set_aside), again.findings.to_string()
    for name in TABLES:
        pd.testing.assert_frame_equal(again.tables[name], registry.tables[name])


def _written(cell):
    return {True: "yes", False: "no"}[cell] if isinstance(cell, bool) else str(cell)


def test_the_order_of_rows_changes_no_count(tmp_path):
    tables = with_row("scans", scan_id="N03", patient_id="P02", collection_id="C99", day="30")
    forward = registry_of(tmp_path / "a", tables)
    backward = registry_of(tmp_path / "b", {name: rows[::-1] for name, rows in tables.items()})
    assert dict(forward.source.rows_kept) == dict(backward.source.rows_kept)


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
