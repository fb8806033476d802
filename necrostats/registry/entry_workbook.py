"""The empty workbook a unit can type its registry into: a sheet a table, straight from the codebook."""

from __future__ import annotations

import io
from datetime import datetime

import xlsxwriter
from xlsxwriter.workbook import Workbook

from necrostats.registry.codebook import TABLES, Column, Table

ROWS = 2000
LONGEST_TITLE, LONGEST_MESSAGE = 32, 255  # characters, the limits of the file format
NARROWEST = 11
_MADE = datetime(2000, 1, 1)  # fixed, so that the same codebook gives the same bytes
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def entry_workbook() -> bytes:
    """The bytes of an .xlsx file: the headers of every table, codes as drop-downs, meaning and unit beside the cell."""
    written = io.BytesIO()
    with xlsxwriter.Workbook(written, _OPTIONS) as workbook:
        workbook.set_properties({"title": "Registry entry", "created": _MADE})
        for table in TABLES.values():
            _write_sheet(workbook, table)
    return written.getvalue()


def _write_sheet(workbook: Workbook, table: Table) -> None:
    sheet = workbook.add_worksheet(table.name)
    look = {"bold": True, "bottom": 1, "valign": "top"}
    required, optional = workbook.add_format({**look, "bg_color": "#D6E6F2"}), workbook.add_format(look)
    as_text = workbook.add_format({"num_format": "@"})  # keeps the zeros of 007 and the 2026Q3 of a period
    for place, column in enumerate(table.columns):
        cell_format = as_text if column.kind in ("id", "ids", "text", "code", "period") else None
        sheet.set_column(place, place, max(NARROWEST, len(column.name) + 2), cell_format)
        sheet.write_string(0, place, column.name, required if column.required else optional)
        sheet.data_validation(1, place, ROWS, place, validation(column))
    sheet.freeze_panes(1, 1)


def validation(column: Column) -> dict[str, object]:
    """The rule for the cells below a header, in XlsxWriter's terms, with a hint shown beside the cell."""
    return {
        **_rule(column),
        "input_title": column.name[:LONGEST_TITLE],
        "input_message": hint(column)[:LONGEST_MESSAGE],
        "error_title": column.name[:LONGEST_TITLE],
        "error_type": "stop" if column.codes else "warning",
    }


def hint(column: Column) -> str:
    """What a column means, its unit and its scale, in one line."""
    scale = scale_of(column)
    parts = (column.meaning, column.unit and f"Unit: {column.unit}", scale and f"Scale: {scale}")
    return ". ".join((*(part for part in parts if part), "Required" if column.required else "Blank = unknown")) + "."


def scale_of(column: Column) -> str:
    """The values that can be right, as "1 to 5", "0 or more" or "0 or less"; blank if there is no limit."""
    if column.low is not None and column.high is not None:
        return f"{column.low:g} to {column.high:g}"
    if column.low is not None:
        return f"{column.low:g} or more"
    return f"{column.high:g} or less" if column.high is not None else ""


def _rule(column: Column) -> dict[str, object]:
    if column.codes:
        return {"validate": "list", "source": list(column.codes)}
    if column.kind == "yes_no":
        return {"validate": "list", "source": ["yes", "no"]}
    if column.kind in ("whole", "day", "number"):
        return _number_rule(column)
    return {"validate": "any"}


def _number_rule(column: Column) -> dict[str, object]:
    low = column.low if column.low is not None else -100_000
    high = column.high if column.high is not None else 1_000_000
    kind = "decimal" if column.kind == "number" else "integer"
    return {"validate": kind, "criteria": "between", "minimum": low, "maximum": high}
