"""The sheets as an .xlsx file: the same sheets give the same bytes."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from messy_export.cells import Cell, Formula, Value
from messy_export.dates import EPOCH
from messy_export.grid import Grid

CREATED = datetime(2026, 9, 30, 12, 0)
TITLE = "Endoscopic necrosectomy list: INVENTED, no real patient"
OPTIONS = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}


class Book:
    """Writes grids into one workbook."""

    def __init__(self, path: Path) -> None:
        self._book = xlsxwriter.Workbook(str(path), OPTIONS)
        self._book.set_properties({"title": "Invented registry", "created": CREATED})
        self._formats: dict[str, Format] = {}

    def close(self) -> None:
        self._book.close()

    def _format(self, form: str) -> Format | None:
        if form and form not in self._formats:
            self._formats[form] = self._book.add_format({"num_format": form})
        return self._formats.get(form)

    def add(self, grid: Grid) -> None:
        """One sheet: merges first, then every cell, then what is hidden."""
        sheet = self._book.add_worksheet(grid.name)
        sheet.set_comments_author("typist")
        if grid.tall:
            sheet.write_string(0, 0, TITLE)
        for top, left, bottom, right in grid.merges:
            if (top, left) != (bottom, right):
                sheet.merge_range(top - 1, left - 1, bottom - 1, right - 1, "")
        for _, cell in sorted(grid.cells.items()):
            self._cell(sheet, cell)
        for row in grid.hidden_rows:
            sheet.set_row(row - 1, None, None, {"hidden": True})
        for column in grid.hidden_columns:
            sheet.set_column(column - 1, column - 1, None, None, {"hidden": True})
        if grid.hidden:
            sheet.hide()

    def _cell(self, sheet: Worksheet, cell: Cell) -> None:
        row, column = cell.row - 1, cell.column - 1
        form = self._format(cell.typed.form)
        _write(sheet, row, column, cell.typed.value, form)
        if cell.comment:
            sheet.write_comment(row, column, cell.comment)


def _write(sheet: Worksheet, row: int, column: int, value: Value, form: Format | None) -> None:
    if isinstance(value, Formula):
        result = value.result
        kept = "" if result is None else (result - EPOCH).days if isinstance(result, date) else result
        sheet.write_formula(row, column, value.text, form, kept)
    elif isinstance(value, bool):
        sheet.write_boolean(row, column, value, form)
    elif isinstance(value, date):
        sheet.write_datetime(row, column, value, form)
    elif isinstance(value, int | float):
        sheet.write_number(row, column, value, form)
    else:
        sheet.write_string(row, column, str(value), form)


def write_workbook(path: Path, grids: tuple[Grid, ...]) -> None:
    """Write all sheets to `path`."""
    book = Book(path)
    for grid in grids:
        book.add(grid)
    book.close()
