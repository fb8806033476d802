"""Damage to the cells of a workbook: swapped, retyped, merged, doubled, filled with what nobody should type."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, time

import numpy as np
from openpyxl import Workbook
from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet

HUGE = (1e308, -1e308, 10**15, -1, 0.1 + 0.2, 1e-300, 9.99e15, 2_958_466, -0.5)
STRANGE_TEXT = (
    "\u202e12 ml",
    "\u0661\u0662\u0663 ml",
    "\u05e9\u05dc\u05d5\u05dd",
    "\u200b",
    "\ufeff12",
    "12\u00a0ml",
    "1" * 400,
    "x" * 30_000,
    "-",
    "--",
    "~",
    "><",
    "1e400",
    "nan",
    "inf",
    "-inf",
    "0x1F",
    "1_000",
    "\U0001f9ea",
    "e\u0301" * 50,
    "12x10x8x6",
    "1/0",
    "((((",
    "|;|;|",
    ";",
    "|",
    "\n",
    "\t",
    '"',
    "'",
    "%",
    "=",
    "+",
    "@SUM(A1)",
    "_x0001_",
    "TRUE",
    "#REF!",
    "31/02/24",
    "99/99/9999",
    "00.00.0000",
    "12/2024/03",
    "2024-13-45",
    "1.1.1",
    "- - 24",
    "29/02/23",
    "\u00bd L",
    "\u221e",
    "WON x99999 (lesser sac)",
    "WON x (",
    "snare" + "+snare" * 500,
    "DEN 999999999999",
    "P99999999999999999999",
    "\u0130",
    "\u00df",
)
FORMULAS = ("=1/0", "=A1", "=NA()", '=""', "=TODAY()", "=SUM(", "='other file'!A1", "={1,2}", "=" + "A1+" * 300 + "A1")
FORMATS = ("mmm-yy", "yyyy", "dd/mm/yyyy", "[h]:mm", "0%", "@", ";;;", "General", "[Red]0", "mm:ss", '"x"', "#")
NAMES = ("Sheet1", "DEN ", "den", "Scans (2)", "\u202eneD", "x" * 31, "'", "Clinic#2", "\u0130")


def _sheet(rng: np.random.Generator, book: Workbook) -> Worksheet:
    sheets = book.worksheets
    return sheets[int(rng.integers(min(len(sheets), 7)))]


def _cell(rng: np.random.Generator, sheet: Worksheet) -> Cell:
    top = 1 if rng.random() < 0.03 else 4
    for _ in range(20):
        cell = sheet.cell(int(rng.integers(top, sheet.max_row + 5)), int(rng.integers(1, sheet.max_column + 2)))
        if not isinstance(cell, MergedCell):
            return cell
    return sheet.cell(sheet.max_row + 1, sheet.max_column + 1)


def _one(rng: np.random.Generator, choices: tuple):
    return choices[int(rng.integers(len(choices)))]


def swap(rng: np.random.Generator, book: Workbook) -> None:
    """Two cells of one sheet change places, or of two sheets."""
    first = _cell(rng, _sheet(rng, book))
    second = _cell(rng, first.parent if rng.random() < 0.7 else _sheet(rng, book))
    first.value, second.value = second.value, first.value


def retype(rng: np.random.Generator, book: Workbook) -> None:
    """Text becomes a number, a number a date, a date a text."""
    for _ in range(int(rng.integers(1, 8))):
        cell = _cell(rng, _sheet(rng, book))
        cell.value = _one(rng, (str(cell.value), True, 7, 45_363, 45_363.75, datetime(2024, 3, 12), time(9, 30), None))


def extreme(rng: np.random.Generator, book: Workbook) -> None:
    """Huge, negative and tiny numbers; dates at the ends of the calendar."""
    for _ in range(int(rng.integers(1, 6))):
        cell = _cell(rng, _sheet(rng, book))
        cell.value = _one(rng, (*HUGE, datetime(9999, 12, 31), datetime(1900, 1, 1), datetime(1969, 7, 20)))


def strange(rng: np.random.Generator, book: Workbook) -> None:
    """Text that runs from right to left, invisible text, very long text, half an expression."""
    for _ in range(int(rng.integers(1, 8))):
        _cell(rng, _sheet(rng, book)).value = _one(rng, STRANGE_TEXT)


def formulas(rng: np.random.Generator, book: Workbook) -> None:
    """Formulas without any kept result."""
    for _ in range(int(rng.integers(1, 6))):
        _cell(rng, _sheet(rng, book)).value = _one(rng, FORMULAS)


def formats(rng: np.random.Generator, book: Workbook) -> None:
    """Number formats that show something else."""
    for _ in range(int(rng.integers(1, 12))):
        _cell(rng, _sheet(rng, book)).number_format = _one(rng, FORMATS)


def rename_sheet(rng: np.random.Generator, book: Workbook) -> None:
    """A sheet with another title."""
    sheet = _sheet(rng, book)
    sheet.title = _one(rng, NAMES).translate(str.maketrans("", "", "'")) or "renamed"


def double_rows(rng: np.random.Generator, book: Workbook) -> None:
    """Rows that stand there twice."""
    sheet = _sheet(rng, book)
    for _ in range(int(rng.integers(1, 5))):
        row = int(rng.integers(1, sheet.max_row + 1))
        sheet.append([cell.value for cell in sheet[row]])


def delete_rows(rng: np.random.Generator, book: Workbook) -> None:
    """Rows taken out, the headings perhaps among them."""
    _sheet(rng, book).delete_rows(int(rng.integers(1, 12)), int(rng.integers(1, 4)))


def shift_columns(rng: np.random.Generator, book: Workbook) -> None:
    """A column taken out, or an empty one put in."""
    sheet = _sheet(rng, book)
    at = int(rng.integers(1, sheet.max_column + 1))
    if rng.random() < 0.5:
        sheet.delete_cols(at)
    else:
        sheet.insert_cols(at)


def merge(rng: np.random.Generator, book: Workbook) -> None:
    """Cells merged at random: what they held is lost before anybody reads them."""
    sheet = _sheet(rng, book)
    top, left = int(rng.integers(4, sheet.max_row + 5)), int(rng.integers(1, sheet.max_column + 1))
    taken = any(top <= each.max_row and left <= each.max_col for each in sheet.merged_cells.ranges)
    if not taken:
        bottom, right = top + int(rng.integers(0, 4)), left + int(rng.integers(1, 4))
        sheet.merge_cells(start_row=top, start_column=left, end_row=bottom, end_column=right)


def shift_rows(rng: np.random.Generator, book: Workbook) -> None:
    """Some columns moved a row down from one row on, as happens when part of a table is sorted or pasted."""
    sheet = _sheet(rng, book)
    first, last = sorted(int(each) for each in rng.integers(1, sheet.max_column + 1, 2))
    start = int(rng.integers(2, max(sheet.max_row, 3)))
    for column in range(first, last + 1):
        values = [sheet.cell(row, column).value for row in range(start, sheet.max_row + 1)]
        for row, value in enumerate(values, start + 1):
            cell = sheet.cell(row, column)
            if not isinstance(cell, MergedCell):
                cell.value = value


def change_ids(rng: np.random.Generator, book: Workbook) -> None:
    """Codes that lose a sign, a zero or their case, gain a letter, or become another's."""
    sheet = _sheet(rng, book)
    for _ in range(int(rng.integers(1, 6))):
        cells = [sheet.cell(row, int(rng.integers(1, 4))) for row in rng.integers(2, sheet.max_row + 2, 2).tolist()]
        first, second = cells
        text = str(first.value or "")
        others = text.replace("-", ""), text.replace("0", ""), text.replace("0", "O"), text.lower(), f"{text}b", None
        if not isinstance(first, MergedCell):
            first.value = _one(rng, (*others, second.value))


def negate(rng: np.random.Generator, book: Workbook) -> None:
    """A word for no before what a cell says, or in its place."""
    for _ in range(int(rng.integers(1, 8))):
        cell = _cell(rng, _sheet(rng, book))
        word = _one(rng, ("no", "kein", "keine", "pas de", "sin", "sem", "geen", "ingen", "brak", "not", "denies"))
        cell.value = f"{word} {cell.value}" if cell.value is not None else word


def remove_sheet(rng: np.random.Generator, book: Workbook) -> None:
    """A sheet gone altogether."""
    if len(book.worksheets) > 1:
        book.remove(_sheet(rng, book))


def empty_sheet(rng: np.random.Generator, book: Workbook) -> None:
    """A sheet with nothing in it: a new one, or one that held something."""
    if rng.random() < 0.5:
        book.create_sheet("nothing here")
    else:
        sheet = _sheet(rng, book)
        sheet.delete_rows(1, sheet.max_row + 1)


def heading(rng: np.random.Generator, book: Workbook) -> None:
    """A heading changed, emptied or given twice."""
    sheet = _sheet(rng, book)
    cells = [cell for row in sheet.iter_rows(max_row=3) for cell in row if not isinstance(cell, MergedCell)]
    first, second = cells[int(rng.integers(len(cells)))], cells[int(rng.integers(len(cells)))]
    others = (None, "", "Date", second.value, "\u202eetaD", f" {first.value}  ", 7, datetime(2024, 3, 12))
    first.value = _one(rng, others)


def epoch(rng: np.random.Generator, book: Workbook) -> None:
    """Dates that count from 1904."""
    book.epoch = CALENDAR_MAC_1904


def hide(rng: np.random.Generator, book: Workbook) -> None:
    """Everything hidden."""
    sheet = _sheet(rng, book)
    for row in range(1, sheet.max_row + 1):
        sheet.row_dimensions[row].hidden = True
    if sheet is not book.worksheets[0]:
        sheet.sheet_state = "veryHidden"


def far_away(rng: np.random.Generator, book: Workbook) -> None:
    """One cell far below and far to the right of all others."""
    _sheet(rng, book).cell(int(rng.integers(5_000, 60_000)), int(rng.integers(100, 16_000))).value = "x"


SOFT = (
    *(swap, swap, retype, extreme, strange, strange, formulas, formats, double_rows, merge, epoch, hide),
    *(shift_rows, shift_rows, change_ids, change_ids, negate, negate),
)
HARD = (rename_sheet, delete_rows, shift_columns, empty_sheet, remove_sheet, heading, far_away)
CELL_DAMAGE: tuple[Callable[[np.random.Generator, Workbook], None], ...] = (*SOFT * 3, *HARD)
