"""Rows of a sheet that is a log, with a column that says what each is about: every [[sheet]] takes those of its kind.

Rows of no kind that the layout names are kept together, to be set aside and said.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fnmatch import fnmatchcase

import numpy as np

from necrostats.registry.export.layout import RowsLayout, SheetLayout, Where
from necrostats.registry.export.mapped_sheets import Laid, LaidSheet
from necrostats.registry.source_table import objects
from necrostats.registry.text import folded

_BETWEEN = " | "


def parted(laid: Laid) -> Laid:
    """The sheets with the rows that their `where` takes; after them, for each log, the rows that none takes."""
    sheets, left = list(laid.sheets), []
    for number, log in enumerate(_logs(laid.sheets), start=1):
        taken = np.array([saying(sheet, sheet.layout.where) for sheet in log])
        for sheet, rows in zip(log, taken, strict=True):
            beside = _mentioned_elsewhere(sheet, log, taken)[:, rows]
            part = replace(_only(sheet, rows), log=number, absent=tuple(_absent(sheet)))
            sheets[sheet.number] = replace(part, elsewhere=dict(zip(sheet.columns, beside, strict=True)))
        if not taken.any(axis=0).all():
            left.append(_left(log, ~taken.any(axis=0), number, len(sheets) + len(left)))
    return replace(laid, sheets=(*sheets, *left)) if any(sheet.layout.where for sheet in sheets) else laid


def _logs(sheets: Sequence[LaidSheet]) -> list[list[LaidSheet]]:
    """The [[sheet]] that take rows of one sheet, or of one block of it, by what the rows say."""
    found: dict[tuple, list[LaidSheet]] = {}
    for sheet in sheets:
        if sheet.layout.where:
            form = sheet.layout
            place = (sheet.grid.file, sheet.grid.sheet, form.starts, form.ends, form.header_rows)
            found.setdefault(place, []).append(sheet)
    return list(found.values())


def saying(sheet: LaidSheet, where: Where) -> np.ndarray:
    """Rows (N,) that say in each of some columns one of its words; none, if nothing is asked of them."""
    rows = np.full(len(sheet), bool(where))
    for heading, words in where:
        raw = sheet.column(heading).raw
        rows &= np.array([any(_says(cell.text, word) for word in words) for cell in raw.cells])[raw.which]
    return rows


def _says(text: str, word: str) -> bool:
    """Whether a cell says a word, in which * stands for any signs and every other sign for itself."""
    said, pattern = folded(text), folded(word)
    return said == pattern or ("*" in pattern and fnmatchcase(said, re.sub(r"[?\[]", r"[\g<0>]", pattern)))


def _said(sheet: LaidSheet, heading: str) -> np.ndarray:
    raw = sheet.column(heading).raw
    return objects(folded(cell.text) for cell in raw.cells)[raw.which]


def _absent(sheet: LaidSheet) -> Iterator[tuple[str, str]]:
    """The words of a `where` that no cell of the column says."""
    for heading, words in sheet.layout.where:
        said = {cell.text for cell in sheet.column(heading).raw.cells}
        yield from ((heading, word) for word in words if not any(_says(text, word) for text in said))


def _mentioned_elsewhere(sheet: LaidSheet, log: Sequence[LaidSheet], taken: np.ndarray) -> np.ndarray:
    """Cells (columns, N) that another [[sheet]] of the log, which takes their row, maps or ignores."""
    found = np.zeros((len(sheet.columns), len(sheet)), dtype=bool)
    for other, rows in zip(log, taken, strict=True):
        if other is not sheet:
            found |= np.outer([key in mentioned(other) for key in sheet.columns], rows)
    return found


def mentioned(sheet: LaidSheet) -> set[str]:
    """The columns that the layout maps or ignores."""
    return {sheet.key(heading) for heading in (*sheet.layout.headings(), *sheet.layout.ignore)}


def _only(sheet: LaidSheet, rows: np.ndarray) -> LaidSheet:
    at = np.flatnonzero(rows)
    columns = {key: replace(column, raw=column.raw.at(at)) for key, column in sheet.columns.items()}
    return replace(sheet, rows=sheet.rows[at], below=sheet.below[at], columns=columns)


def _left(log: Sequence[LaidSheet], rows: np.ndarray, family: int, number: int) -> LaidSheet:
    """The rows that no [[sheet]] of a log takes, of which nothing is made."""
    forms = [sheet.layout for sheet in log]
    first = _only(log[0], rows)
    columns = {key: replace(column, sheet=number) for key, column in first.columns.items()}
    ignored = [set(map(folded, form.ignore)) for form in forms]
    telling = [{folded(heading) for heading, _ in form.where} for form in forms]
    common = set.intersection(*telling) or telling[0]
    form: SheetLayout = replace(
        forms[0],
        ignore=tuple(each for each in forms[0].ignore if all(folded(each) in other for other in ignored)),
        skip_rows=tuple(row for form in forms for row in form.skip_rows),
        skip_texts=tuple(text for form in forms for text in form.skip_texts),
        where=tuple(each for each in forms[0].where if folded(each[0]) in common),
        skip_where=tuple(each for form in forms for each in form.skip_where if folded(each[0]) in common),
        rows=(RowsLayout(table=forms[0].rows[0].table, columns=()),),
    )
    return replace(first, number=number, columns=columns, layout=form, log=family, left=True, lacking=())


def kinds(sheet: LaidSheet, rows: np.ndarray) -> Iterator[tuple[str, np.ndarray]]:
    """What some rows (N,) say they are about, and which (n,) say so; the commonest first."""
    if not rows.any():
        return
    headings = sheet.layout.telling
    said = objects(map(_BETWEEN.join, zip(*(_said(sheet, heading) for heading in headings), strict=True)))
    written = objects(map(_BETWEEN.join, zip(*(sheet.column(each).raw.texts() for each in headings), strict=True)))
    found = [(each, np.flatnonzero(rows & (said == each))) for each in dict.fromkeys(said[rows])]
    for _, at in sorted(found, key=lambda each: -len(each[1])):
        yield " ".join(written[at[0]].split()).strip(" |"), at
