"""What was read, what was found and what was set aside, as listings to go through row by row."""

from __future__ import annotations

import pandas as pd

from necrostats.errors import unknown_choice
from necrostats.registry.codebook import TABLES
from necrostats.registry.findings import SEVERITIES, in_order, place
from necrostats.registry.tables import Registry
from necrostats.results import Listing, Method, Population

HEADINGS = {
    "stops": "Findings that stop: the value or row is set aside until it is corrected",
    "asks": "Findings that ask: the value is kept, and somebody should look",
    "notes": "Notes",
}


def what_was_read(registry: Registry) -> Listing:
    """One row a table: rows read, rows kept, rows set aside."""
    read, kept = registry.source.rows_read, registry.source.rows_kept
    rows = [
        {
            "table": name,
            "one row is": TABLES[name].row,
            "rows_read": read.get(name, len(frame)),
            "rows_kept": kept.get(name, len(frame)),
            "rows_set_aside": read.get(name, len(frame)) - kept.get(name, len(frame)),
        }
        for name, frame in registry.tables.items()
    ]
    return _listing("What was read", pd.DataFrame(rows), registry, "rows of the source, table by table")


def list_findings(registry: Registry, severity: str) -> Listing:
    """The findings that "stops", "asks" or "notes" names, one row each: where, the value as written, what to do."""
    if severity not in SEVERITIES:
        raise unknown_choice("severity", severity, SEVERITIES)
    found = in_order(registry.findings)
    chosen = found[found["severity"] == severity]
    rows = [
        {"where": place(row), "as_written": row.value, "problem": row.problem, "what_to_do": row.remedy}
        for row in chosen.itertuples()
    ]
    table = pd.DataFrame(rows, columns=["where", "as_written", "problem", "what_to_do"])
    return _listing(HEADINGS[severity], table, registry, "every finding of this kind")


def count_findings(registry: Registry) -> Listing:
    """The findings counted by kind, table and column, without a row, an id or a value."""
    columns = ["severity", "table", "column", "rule"]
    counted = _counted(in_order(registry.findings), columns)
    words = counted["rule"].str.replace("_", " ").str.lower()
    return _listing("Findings, counted", counted.assign(rule=words), registry, "every finding, counted by its kind")


def list_set_aside(registry: Registry) -> Listing:
    """What was set aside, counted by table, scope and rule."""
    counted = _counted(registry.set_aside, ["table", "scope", "rule"])
    return _listing("Set aside", counted, registry, "every row and cell that was set aside, counted by its reason")


def _counted(frame: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    """How often each combination occurs, in order of first appearance."""
    return frame.groupby(columns, observed=True, sort=False, dropna=False).size().rename("count").reset_index()


def _listing(title: str, table: pd.DataFrame, registry: Registry, rows: str) -> Listing:
    method = Method(estimand="a listing, not an estimate", estimator=rows, interval="", level=0.95)
    return Listing(title=title, frame=table, population=Population(patients=len(registry.patients)), method=method)
