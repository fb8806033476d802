"""Findings as a workbook: a sheet for each sheet or file they are about, to filter, with what to do about each."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from datetime import datetime

import pandas as pd
import xlsxwriter

from necrostats.visible import visible

FINDINGS_WORKBOOK = "findings.xlsx"
HEADS = {
    "severity": ("Severity", 10),
    "row": ("Row", 8),
    "column": ("Column", 24),
    "value": ("As written", 28),
    "problem": ("What is wrong", 60),
    "remedy": ("What to do", 60),
    "rule": ("Rule", 18),
}
_MADE = datetime(2000, 1, 1)  # fixed, so that the same findings give the same bytes
_OPTIONS = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
_LONGEST_NAME, _MOST_ROWS, _LONGEST_CELL = 31, 1_048_575, 32_000


def findings_workbook(findings: pd.DataFrame) -> bytes:
    """The bytes of an .xlsx file. Every cell is text or a row number: nothing in it is a formula or a link."""
    written = io.BytesIO()
    with xlsxwriter.Workbook(written, _OPTIONS) as book:
        book.set_properties({"title": "Findings", "created": _MADE})
        bold = book.add_format({"bold": True, "bottom": 1})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        names: set[str] = set()
        for name, found in _sheets(findings):
            sheet = book.add_worksheet(_name(name, names))
            for place, (head, width) in enumerate(HEADS.values()):
                sheet.set_column(place, place, width, wrapped)
                sheet.write_string(0, place, head, bold)
            for at, row in enumerate(found[list(HEADS)].itertuples(index=False, name=None), start=1):
                _write(sheet, at, row)
            sheet.autofilter(0, 0, max(len(found), 1), len(HEADS) - 1)
            sheet.freeze_panes(1, 0)
    return written.getvalue()


def _sheets(findings: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    if findings.empty:
        yield "Nothing found", findings
    for (file, sheet), found in findings.groupby(["file", "sheet"], sort=False):
        yield sheet or file or "Source", found.head(_MOST_ROWS)


def _write(sheet, at: int, row: tuple) -> None:
    for place, (name, value) in enumerate(zip(HEADS, row, strict=True)):
        if name == "row" and not pd.isna(value):
            sheet.write_number(at, place, int(value))
        elif not pd.isna(value):
            sheet.write_string(at, place, visible(str(value))[:_LONGEST_CELL])


def _name(wanted: str, taken: set[str]) -> str:
    """A name that a workbook takes, and no other sheet has."""
    plain = re.sub(r"[\[\]:*?/\\']", " ", visible(wanted)).strip()[:_LONGEST_NAME] or "Sheet"
    name, number = plain, 2
    while name.casefold() in taken:
        name = f"{plain[: _LONGEST_NAME - 4]} {number}"
        number += 1
    taken.add(name.casefold())
    return name
