"""A small invented registry for tests that need one and not what is in it."""

from __future__ import annotations

import pandas as pd

from necrostats.registry.findings import findings_frame
from necrostats.registry.tables import Registry, Source, registry_from


def small_registry(**about) -> Registry:
    """Two patients (one observed for 200 days, one for 20), three sessions, one scan, one review, one event."""
    tables = {
        "patients": {
            "patient_id": ["A", "B"],
            "age_years": [50, 61],
            "index_period": ["2026Q1", "2026Q3"],
            "observed_days": [200, 20],
            "last_contact_day": [200, 20],
            "vital_status": ["alive", "alive"],
        },
        "collections": {"collection_id": ["A1", "B1"], "patient_id": ["A", "B"], "is_index": [True, True]},
        "sessions": {
            "session_id": ["S1", "S2", "S3"],
            "patient_id": ["A", "A", "B"],
            "collection_id": ["A1", "A1", "B1"],
            "day": [0, 9, 0],
            "period": ["2026Q1", "2026Q1", "2026Q3"],
            "session_type": ["drainage", "necrosectomy", "drainage"],
            "events_checked": [True, False, None],
        },
        "scans": {"scan_id": ["C1"], "patient_id": ["A"], "collection_id": ["A1"], "day": [30]},
        "reviews": {"patient_id": ["A"], "day": [31]},
        "adverse_events": {
            "event_id": ["E1"],
            "patient_id": ["A"],
            "session_id": ["S2"],
            "day": [10],
            "event_type": ["bleeding"],
        },
    }
    return registry_from({name: pd.DataFrame(columns) for name, columns in tables.items()}, **about)


def registry_with_findings() -> Registry:
    """The small registry, as if two rows and a cell had been found wrong when it was read."""
    findings = pd.concat(
        [
            findings_frame(
                row=[4, 5],
                rule="NOT_A_DATE",
                table="sessions",
                file="unit.xlsx",
                sheet="sessions",
                column="day",
                value=["<b>", "soon"],
                problem="is not a number of days",
                remedy="Write the number of days.",
            ),
            findings_frame(
                row=[pd.NA],
                severity="asks",
                rule="MIXED_UNITS",
                table="sessions",
                file="unit.xlsx",
                problem="yields are in two units",
            ),
        ],
        ignore_index=True,
    )
    set_aside = pd.DataFrame(
        {
            "table": ["sessions"] * 3,
            "file": "unit.xlsx",
            "sheet": "sessions",
            "row": pd.array([4, 5, 6], "Int64"),
            "scope": ["row", "row", "cell"],
            "column": ["day", "day", "passes"],
            "patient_id": "A",
            "rule": ["NOT_A_DATE", "NOT_A_DATE", "NOT_A_NUMBER"],
        }
    )
    read = {"patients": 2, "collections": 2, "sessions": 5, "scans": 1, "reviews": 1, "adverse_events": 1}
    kept = {**read, "sessions": 3}
    source = Source(name="/home/somebody/unit.xlsx", sha256="3fa9c1d2e4b1" + "0" * 52, rows_read=read, rows_kept=kept)
    return small_registry(findings=findings, set_aside=set_aside, source=source)
