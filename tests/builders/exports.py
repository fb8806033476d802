"""Small exports for tests: workbooks and csv files of a few rows, and layouts for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

import xlsxwriter

from necrostats.registry.export.layout_reading import parse_layout
from necrostats.registry.export.loading import ReadExport, read_with_layout

TOP = """
format = 1
[dates]
order = "day_first"
data_lock = 2026-09-30
[fill]
"patients.vital_status" = "alive"
"patients.last_contact_day" = "last_record"
"""
WIDE = (
    TOP
    + """
[[sheet]]
name = "DEN"
patient = "Study no"
[[sheet.rows]]
table = "patients"
columns = { "Age" = "age_years", "Index" = "index_date" }
[[sheet.rows]]
table = "sessions"
numbers = "1-2"
constants = { session_type = "necrosectomy" }
[sheet.rows.columns]
"DEN{n} date" = "day"
"DEN{n} tools" = "instruments"
"DEN{n} yield" = { to = "yield", unit = "ml" }
"DEN{n} compl" = "event"
"""
)
HEADINGS = (
    "Study no",
    "Age",
    "Index",
    "DEN1 date",
    "DEN1 tools",
    "DEN1 yield",
    "DEN1 compl",
    "DEN2 date",
    "DEN2 tools",
    "DEN2 yield",
    "DEN2 compl",
)
INDEX = date(2024, 3, 1)
Line = Sequence[object]


def workbook(path: Path, sheets: Mapping[str, Sequence[Line]], *, date_format: str = "dd/mm/yyyy", **book) -> Path:
    """A workbook with these sheets; dates get a number format."""
    with xlsxwriter.Workbook(path, book) as made:
        shown = made.add_format({"num_format": date_format})
        for name, lines in sheets.items():
            sheet = made.add_worksheet(name)
            for row, line in enumerate(lines):
                for column, value in enumerate(line):
                    if isinstance(value, date | datetime):
                        sheet.write_datetime(row, column, value, shown)
                    elif value not in ("", None):
                        sheet.write(row, column, value)
    return path


def wide_line(key: object = "1", age: object = 50, index: object = INDEX, **cells: object) -> list[object]:
    """A line of the wide sheet; cells by heading with _ for the blank: DEN1_date=…"""
    given = {name.replace("_", " "): each for name, each in cells.items()}
    own = {"Study no": key, "Age": age, "Index": index, **given}
    return [own.get(heading, "") for heading in HEADINGS]


def read(tmp_path: Path, sheets: Mapping[str, Sequence[Line]], layout: str, **how) -> ReadExport:
    """A workbook of these sheets, read by a layout."""
    return read_with_layout(workbook(tmp_path / "unit.xlsx", sheets), parse_layout(layout), **how)


def read_wide(tmp_path: Path, *lines: Line, layout: str = WIDE, headings: Line = HEADINGS, **how) -> ReadExport:
    """The wide sheet with these lines, read by its layout."""
    return read(tmp_path, {"DEN": [headings, *lines]}, layout, **how)


def told(found: ReadExport, rule: str) -> list[tuple[str, object, str, str]]:
    """(sheet, row, column, value) of every finding of a rule."""
    listed = found.registry.findings
    listed = listed[listed["rule"] == rule]
    return list(listed[["sheet", "row", "column", "value"]].itertuples(index=False, name=None))
