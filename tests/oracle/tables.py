"""The csv files of a registry as plain rows: every cell a text, a blank cell None."""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path

Row = dict[str, str | None]
NAMES = (
    "patients",
    "collections",
    "sessions",
    "instrument_uses",
    "stents",
    "scans",
    "reviews",
    "adverse_events",
    "other_interventions",
)


def read(folder: Path) -> dict[str, list[Row]]:
    """The nine tables, in the order of their rows."""
    return {name: _rows(folder / f"{name}.csv") for name in NAMES}


def of_each(rows: list[Row], key: str = "patient_id") -> dict[str | None, list[Row]]:
    """The rows by what stands in the column `key`."""
    grouped: dict[str | None, list[Row]] = defaultdict(list)
    for row in rows:
        grouped[row[key]].append(row)
    return grouped


def day(row: Row, column: str = "day") -> int | None:
    """A whole number of days, None where it is blank."""
    return None if row[column] is None else int(row[column])


def _rows(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as file:
        return [{name: cell.strip() or None for name, cell in row.items()} for row in csv.DictReader(file)]
