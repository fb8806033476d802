"""Results as a workbook, one sheet a measure with the methods first, and as csv. Text is never a formula or a link."""

from __future__ import annotations

import csv
import datetime
import io
import math
import re
from collections.abc import Iterable, Mapping

import pandas as pd
import xlsxwriter

from necrostats.present import numbers
from necrostats.present.style import PrintStyle
from necrostats.present.tables import Table, table
from necrostats.present.wording import counted, table_caption
from necrostats.registry.text import defused
from necrostats.results import Curves, Estimates, Rates, Result, Summary
from necrostats.visible import visible

_AS_TEXT = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False, "in_memory": True}
_ALWAYS = datetime.datetime(2000, 1, 1)
"""The day every workbook says it was made, so that the same data give the same bytes."""

LONGEST_SHEET_NAME = 31
_NOT_IN_A_SHEET_NAME = re.compile(r"[\[\]:*?/\\'\x00-\x1f]")
_METHOD_HEADS = (
    "sheet",
    "title",
    "counted",
    "left out",
    "estimand",
    "definition",
    "estimator",
    "interval",
    "level",
    "sources",
    "notes",
)
_LOOKS = {
    "plain": {},
    "title": {"bold": True},
    "wrapped": {"text_wrap": True, "valign": "top"},
    "head": {"text_wrap": True, "valign": "top", "bold": True, "bottom": 1},
}
LONGEST_TEXT = 32767
WIDEST = 60


def workbook(results: Mapping[str, Result], *, style: PrintStyle | None = None, about: Iterable[str] = ()) -> bytes:
    """An xlsx file: how each figure was made, then a sheet a result with its table and the numbers behind it.

    `about` are lines that head the first sheet. Numbers are numbers; every text is text, whatever it begins with.
    """
    look, file = style or PrintStyle(), io.BytesIO()
    names = sheet_names(results)
    with xlsxwriter.Workbook(file, _AS_TEXT) as book:
        book.set_properties({"created": _ALWAYS, "title": "Results", "comments": " ".join(about)})
        book.formats[0].set_font_name(look.font)
        base = {"font_name": look.font, "font_size": 10}
        formats = {name: book.add_format(base | more) for name, more in _LOOKS.items()}
        _methods(book.add_worksheet("methods"), results, names, formats, look, tuple(about))
        for name, result in results.items():
            _measure(book.add_worksheet(names[name]), result, formats, look)
    return file.getvalue()


def sheet_names(results: Iterable[str]) -> dict[str, str]:
    """A name that a workbook takes for each, all different; "methods" is taken already."""
    taken, names = {"methods", "history"}, {}
    for name in results:
        short = _NOT_IN_A_SHEET_NAME.sub(" ", visible(name)).strip()[:LONGEST_SHEET_NAME] or "result"
        number, chosen = 2, short
        while chosen.lower() in taken:
            end = f" {number}"
            chosen, number = short[: LONGEST_SHEET_NAME - len(end)] + end, number + 1
        taken.add(chosen.lower())
        names[name] = chosen
    return names


def _methods(sheet, results, names, formats, look: PrintStyle, about: tuple[str, ...]) -> None:
    for line, text in enumerate(about):
        _text(sheet, line, 0, text, formats["title"], look)
    top = len(about) + bool(about)
    rows = [_method_row(names[name], result) for name, result in results.items()]
    _texts(sheet, top, [_METHOD_HEADS, *rows], formats, look)
    sheet.set_column(0, 0, 20)
    sheet.set_column(1, len(_METHOD_HEADS) - 1, 36)
    sheet.freeze_panes(top + 1, 1)


def _method_row(name: str, result: Result) -> tuple[str, ...]:
    method = result.method
    left_out = "; ".join(f"{reason}: {count}" for reason, count in result.population.left_out.items())
    made = (method.estimand, method.definition, method.estimator, method.interval, numbers.level_name(method.level))
    notes = " ".join(note.text for note in result.notes)
    return (name, result.title, counted(result.population), left_out, *made, "; ".join(method.references), notes)


def _texts(sheet, top: int, rows, formats, look: PrintStyle) -> None:
    """Rows of text from line `top` on, the first as their head."""
    for line, row in enumerate(rows):
        for column, text in enumerate(row):
            sheet.write_string(
                top + line, column, look.text(visible(str(text))), formats["wrapped" if line else "head"]
            )


def _text(sheet, line: int, column: int, text: object, look, style: PrintStyle) -> None:
    sheet.write_string(line, column, style.text(visible(str(text)))[:LONGEST_TEXT], look)


def _measure(sheet, result: Result, formats, look: PrintStyle) -> None:
    shown = table(result)
    _text(sheet, 0, 0, table_caption(result), formats["title"], look)
    rows = [tuple(shown.frame.columns), *shown.frame.itertuples(index=False, name=None)]
    _texts(sheet, 2, rows, formats, look)
    line = 3 + len(rows)
    for note in shown.notes:
        _text(sheet, line, 0, note, formats["plain"], look)
        line += 1
    sheet.write_string(line + 1, 0, "The numbers behind it", formats["title"])
    _values(sheet, line + 2, without_small_groups(result), formats)
    for column, width in enumerate(_widths(rows)):
        sheet.set_column(column, column, width)
    sheet.freeze_panes(3, shown.row_heads)


def _widths(rows: list[tuple]) -> list[int]:
    return [min(WIDEST, max(10, *(len(str(cell)) + 1 for cell in column))) for column in zip(*rows, strict=True)]


def without_small_groups(result: Result) -> pd.DataFrame:
    """The numbers of a result as they may leave the unit: no estimate and no limit for fewer than 5."""
    shown = result.frame.copy()
    few = _too_few(result)
    for name in ("estimate", "low", "high"):
        if name in shown.columns:
            shown[name] = shown[name].astype(float).mask(few)
    return shown


def _too_few(result: Result) -> pd.Series:
    frame = result.frame
    match result:
        case Rates():
            return numbers.too_few_for_a_rate(frame)
        case Summary():
            return numbers.too_few_to_summarise(frame)
        case Curves():
            at_risk = frame["at_risk"].astype(float)
            return at_risk.groupby(frame["group"], observed=True).transform("max") < numbers.FEWEST_FOR_A_RATE
        case Estimates():
            return frame["n"].fillna(0).astype(float) < numbers.FEWEST_FOR_A_RATE
        case _:
            return pd.Series(False, index=frame.index)


def _values(sheet, top: int, frame: pd.DataFrame, formats) -> None:
    for column, name in enumerate(frame.columns):
        sheet.write_string(top, column, visible(str(name)), formats["head"])
        for line, value in enumerate(frame[name].astype(object), start=top + 1):
            _cell(sheet, line, column, value, formats["plain"])


def _cell(sheet, line: int, column: int, value: object, look) -> None:
    if not numbers.known(value):
        return
    if isinstance(value, bool) or not isinstance(value, int | float):
        sheet.write_string(line, column, visible(str(value))[:LONGEST_TEXT], look)
    elif math.isinf(value):
        sheet.write_string(line, column, "no limit", look)
    else:
        sheet.write_number(line, column, value, look)


def csv_of(shown: Result | Table, *, style: PrintStyle | None = None) -> bytes:
    """The numbers of a result, or a table as printed, as csv that is safe to open in a spreadsheet."""
    look, written = style or PrintStyle(), io.StringIO()
    rows = csv.writer(written, lineterminator="\n")
    frame = without_small_groups(shown) if isinstance(shown, Result) else shown.frame
    rows.writerow([defused(visible(str(name))) for name in frame.columns])
    for row in frame.astype(object).itertuples(index=False, name=None):
        rows.writerow([_written(value, look, isinstance(shown, Table)) for value in row])
    return written.getvalue().encode("utf-8-sig")


def _written(value: object, look: PrintStyle, printed: bool) -> str:
    if not numbers.known(value):
        return ""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return repr(value)
    text = visible(str(value))
    return defused(look.text(text) if printed else text)
