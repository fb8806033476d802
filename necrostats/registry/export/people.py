"""Who each row is about: the patients of an export, numbered in the order in which they first appear."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from necrostats.registry.export.firsts import first_rows
from necrostats.registry.export.laying import LaidColumn, LaidSheet
from necrostats.registry.export.layout import Layout
from necrostats.registry.export.names import folded
from necrostats.registry.quantities import is_blank

NOBODY = -1
_BETWEEN = "\x1f"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class People:
    """`ids` (P,): the study code of each patient. `of` holds, for each sheet, the patient (N,) of each row, or -1."""

    ids: tuple[str, ...]
    of: tuple[np.ndarray, ...]


def people_of(sheets: Sequence[LaidSheet], layout: Layout) -> People:
    """The patients of all sheets. A row whose key is blank, in whole or in part, is nobody's."""
    known: dict[str, int] = {}
    of = []
    for sheet in sheets:
        if sheet.layout.each_row_is_a_patient:
            of.append(np.arange(len(known), len(known) + len(sheet)))
            known.update({f"{_BETWEEN}{sheet.number}{_BETWEEN}{row}": len(known) + row for row in range(len(sheet))})
        else:
            of.append(_numbered([_key_column(sheet, heading, layout) for heading in sheet.layout.patient], known))
    if layout.keep_ids:
        ids = tuple("-".join(key.strip(_BETWEEN).split(_BETWEEN)).upper() for key in known)
    else:
        width = max(4, len(str(len(known))))
        ids = tuple(f"P{number:0{width}d}" for number in range(1, len(known) + 1))
    return People(ids=ids, of=tuple(of))


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class _Keys:
    """The different keys (U,) of a column, and which of them each row (N,) has."""

    texts: Sequence[str]
    which: np.ndarray


def _numbered(columns: Sequence[_Keys], known: dict[str, int]) -> np.ndarray:
    """The patient (N,) of each row, by all its keys together; new ones are numbered as they appear."""
    rows = np.zeros(len(columns[0].which), dtype=np.int64)
    for column in columns:
        rows = pd.factorize(rows * len(column.texts) + column.which)[0]
    first = first_rows(rows, rows.max(initial=-1) + 1)
    parts = [[column.texts[each] for each in column.which[first].tolist()] for column in columns]
    keys = [_BETWEEN.join(each) if all(each) else "" for each in zip(*parts, strict=True)]
    people = [known.setdefault(key, len(known)) if key else NOBODY for key in keys]
    return np.array(people, dtype=np.int64)[rows]


def _key_column(sheet: LaidSheet, heading: str, layout: Layout) -> _Keys:
    column = sheet.column(heading)
    carried = folded(heading) in {folded(each) for each in sheet.layout.carry_down}
    above = ~column.raw.filled() & (carried | _merged_down(sheet, column))
    source = np.maximum.accumulate(np.where(above, 0, np.arange(len(sheet))))
    return _Keys(texts=[_key(cell.text, layout.id_form) for cell in column.raw.cells], which=column.raw.which[source])


def _key(text: str, form: str) -> str:
    if text.isascii() and text.isalnum() and not text.isalpha():
        bare = text.casefold()
    else:
        bare = "" if is_blank(text) or text.startswith("#") else folded(text)
    if not (bare and form):
        return bare
    prefix, width = folded(form.rstrip("0")), len(form) - len(form.rstrip("0"))
    found = re.fullmatch(rf"(?:{re.escape(prefix)})?([0-9]+)", bare)
    return f"{prefix}{found[1].lstrip('0').rjust(width, '0')}" if found else bare


def _merged_down(sheet: LaidSheet, column: LaidColumn) -> np.ndarray:
    """Rows (N,) whose cell in this column is merged with the one above."""
    marked = np.zeros(len(sheet), dtype=bool)
    for first_row, first, last_row, last in sheet.grid.merges:
        if first <= column.raw.number <= last and last_row > first_row:
            start, end = np.searchsorted(sheet.rows, (first_row, last_row), side="right")
            marked[start:end] = True
    return marked
