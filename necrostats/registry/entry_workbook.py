"""The empty workbook a unit can type its registry into: a sheet a table, straight from the codebook."""

from __future__ import annotations

import io
from datetime import datetime

import xlsxwriter
from xlsxwriter.workbook import Workbook

from necrostats.registry.codebook import TABLES, Column, Table

ROWS = 2000
CODES_SHEET = "code_lists"
LONGEST_LIST = 255  # characters, the limit of the file format for a list written into a cell's validation
LONGEST_TITLE, LONGEST_MESSAGE = 32, 255
_MADE = datetime(2000, 1, 1)  # fixed, so that the same codebook gives the same bytes
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


def entry_workbook() -> bytes:
    """The bytes of an .xlsx file with the headers of every table, code lists as drop-downs, units and meanings."""
    written = io.BytesIO()
    with xlsxwriter.Workbook(written, _OPTIONS) as workbook:
        workbook.set_properties({"title": "Registry entry", "created": _MADE})
        long_lists = [column for table in TABLES.values() for column in table.columns if _is_long(column)]
        for table in TABLES.values():
            _write_sheet(workbook, table, long_lists)
        _write_codes(workbook, long_lists)
    return written.getvalue()


def _is_long(column: Column) -> bool:
    return len(",".join(column.codes)) > LONGEST_LIST


def _write_sheet(workbook: Workbook, table: Table, long_lists: list[Column]) -> None:
    sheet = workbook.add_worksheet(table.name)
    look = {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}
    required = workbook.add_format({**look, "bg_color": "#D6E6F2"})
    optional = workbook.add_format(look)
    as_text = workbook.add_format({"num_format": "@"})
    for place, column in enumerate(table.columns):
        cell_format = as_text if column.kind in ("id", "ids", "text", "period") else None
        sheet.set_column(place, place, max(11, len(column.name) + 2), cell_format)
        sheet.write_string(0, place, column.name, required if column.required else optional)
        sheet.data_validation(1, place, ROWS, place, _validation(column, long_lists))
    sheet.freeze_panes(1, 1)


def _write_codes(workbook: Workbook, long_lists: list[Column]) -> None:
    sheet = workbook.add_worksheet(CODES_SHEET)
    for place, column in enumerate(long_lists):
        sheet.set_column(place, place, 24)
        sheet.write_column(0, place, [column.name, *column.codes])


def _validation(column: Column, long_lists: list[Column]) -> dict[str, object]:
    """A rule for the cells below a header, with the meaning and unit shown beside the cell."""
    return {
        **_rule(column, long_lists),
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


def _rule(column: Column, long_lists: list[Column]) -> dict[str, object]:
    if column in long_lists:
        letter = chr(ord("A") + long_lists.index(column))
        last = len(column.codes) + 1
        return {"validate": "list", "source": f"={CODES_SHEET}!${letter}$2:${letter}${last}"}
    if column.codes:
        return {"validate": "list", "source": list(column.codes)}
    if column.kind == "yes_no":
        return {"validate": "list", "source": ["yes", "no"]}
    if column.kind in ("whole", "day", "number"):
        return _number_rule(column)
    return {"validate": "any"}


def _number_rule(column: Column) -> dict[str, object]:
    kind = "decimal" if column.kind == "number" else "integer"
    low = column.low if column.low is not None else -100_000
    high = column.high if column.high is not None else 1_000_000
    return {"validate": kind, "criteria": "between", "minimum": low, "maximum": high}
