"""Small tidy registries as files: two invented patients without a fault, to be spoilt one cell at a time."""

from __future__ import annotations

import copy
import csv
from collections.abc import Mapping
from pathlib import Path

from openpyxl import Workbook

from necrostats.registry.codebook import TABLES
from necrostats.registry.loading import read_registry
from necrostats.registry.tables import Registry

Row = dict[str, str]
Tables = dict[str, list[Row]]

_PATIENT = {
    "patient_id": "P01",
    "age_years": "54",
    "sex": "female",
    "aetiology": "gallstone",
    "onset_day": "-40",
    "index_period": "2026Q1",
    "observed_days": "200",
    "last_contact_day": "190",
    "vital_status": "alive",
}

_FAULTLESS: Tables = {
    "patients": [
        _PATIENT,
        {
            **_PATIENT,
            "patient_id": "P02",
            "age_years": "61",
            "sex": "male",
            "vital_status": "dead",
            "last_contact_day": "80",
            "death_day": "80",
            "death_cause": "other",
        },
    ],
    "collections": [
        {"collection_id": "C01", "patient_id": "P01", "is_index": "yes", "site": "lesser_sac", "long_mm": "120"},
        {"collection_id": "C02", "patient_id": "P02", "is_index": "yes", "site": "pelvic", "long_mm": "90"},
    ],
    "sessions": [
        {
            "session_id": "S01",
            "patient_id": "P01",
            "collection_id": "C01",
            "day": "0",
            "period": "2026Q1",
            "session_type": "drainage",
        },
        {
            "session_id": "S02",
            "patient_id": "P01",
            "collection_id": "C01",
            "day": "7",
            "period": "2026Q1",
            "session_type": "necrosectomy",
            "minutes_total": "60",
            "yield_low": "200",
            "yield_high": "200",
            "yield_unit": "ml",
            "yield_as_written": "200 ml",
        },
        {
            "session_id": "S03",
            "patient_id": "P02",
            "collection_id": "C02",
            "day": "0",
            "period": "2026Q1",
            "session_type": "drainage",
        },
    ],
    "instrument_uses": [
        {"session_id": "S02", "instrument_class": "snare", "use_order": "1", "is_primary": "yes", "minutes": "30"},
        {"session_id": "S02", "instrument_class": "lavage", "use_order": "2"},
    ],
    "stents": [
        {
            "stent_id": "T01",
            "patient_id": "P01",
            "collection_id": "C01",
            "stent_type": "lumen_apposing",
            "placed_day": "0",
            "removed_day": "21",
            "end_reason": "planned",
        },
    ],
    "scans": [
        {"scan_id": "N01", "patient_id": "P01", "collection_id": "C01", "day": "40", "modality": "ct", "long_mm": "20"},
        {
            "scan_id": "N02",
            "patient_id": "P02",
            "collection_id": "C02",
            "day": "30",
            "modality": "mri",
            "long_mm": "70",
        },
    ],
    "reviews": [{"patient_id": "P01", "day": "42", "symptom_free": "yes"}],
    "adverse_events": [
        {
            "event_id": "E01",
            "patient_id": "P01",
            "session_id": "S02",
            "day": "8",
            "event_type": "bleeding",
            "agree_grade": "II",
            "treatment": "transfusion",
        },
    ],
    "other_interventions": [{"patient_id": "P02", "day": "10", "kind": "percutaneous_drain"}],
}


def faultless() -> Tables:
    """The nine tables of two patients; reading them gives no finding at all."""
    return copy.deepcopy(_FAULTLESS)


def spoilt(table: str, row: int, **cells: str) -> Tables:
    """The faultless tables with some cells of one row (0 = the first below the header) written otherwise."""
    tables = faultless()
    tables[table][row].update(cells)
    return tables


def with_row(table: str, **cells: str) -> Tables:
    """The faultless tables with one more row, at the end of a table."""
    tables = faultless()
    tables[table].append(cells)
    return tables


def headings(table: str, rows: list[Row]) -> list[str]:
    """The codebook's columns in order, then whatever else the rows hold."""
    names = [column.name for column in TABLES[table].all_columns]
    return names + [name for row in rows for name in row if name not in names]


def write_folder(folder: Path, tables: Mapping[str, list[Row]], *, separator=",", encoding="utf-8") -> Path:
    """One csv a table, every column of the codebook in it."""
    folder.mkdir(parents=True, exist_ok=True)
    for table, rows in tables.items():
        with (folder / f"{table}.csv").open("w", encoding=encoding, newline="") as file:
            writer = csv.DictWriter(file, headings(table, rows), restval="", delimiter=separator)
            writer.writeheader()
            writer.writerows(rows)
    return folder


def write_workbook(path: Path, tables: Mapping[str, list[Row]]) -> Path:
    """One sheet a table; whole numbers as numbers, the rest as text."""
    book = Workbook()
    book.remove(book.active)
    for table, rows in tables.items():
        sheet = book.create_sheet(table)
        names = headings(table, rows)
        sheet.append(names)
        for row in rows:
            sheet.append([_cell(row.get(name, "")) for name in names])
    book.save(path)
    return path


def _cell(written: object) -> object:
    if not isinstance(written, str):
        return written
    return int(written) if written.removeprefix("-").isdigit() else written or None


def registry_of(folder: Path, tables: Mapping[str, list[Row]]) -> Registry:
    """The registry read from the tables written to a folder."""
    return read_registry(write_folder(folder, tables))


def rules(registry: Registry) -> list[str]:
    """The rules of all findings, in their order."""
    return registry.findings["rule"].tolist()


def finding(registry: Registry, rule: str):
    """The only finding of a rule, as a row; AssertionError if there is none or more than one."""
    found = registry.findings[registry.findings["rule"] == rule]
    assert len(found) == 1, registry.findings[["rule", "value", "problem"]].to_string()
    return next(found.itertuples())


def set_aside(registry: Registry, scope: str = "row") -> list[tuple[str, int, str]]:
    """(table, spreadsheet row, rule) of every row, or (table, row, column) of every cell, that was set aside."""
    aside = registry.set_aside[registry.set_aside["scope"] == scope]
    last = "rule" if scope == "row" else "column"
    return sorted(zip(aside["table"], aside["row"].astype(int), aside[last], strict=True))
